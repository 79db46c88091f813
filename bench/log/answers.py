"""Answers what is asked of a log: the daemon's own, or a file that a command names."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec

from bench.gear import Jig
from bench.procedure.invalid_request import InvalidRequest
from bench.protocol import (
    CutForecast,
    Document,
    Drift,
    Due,
    LogEventRows,
    LogEvents,
    LogList,
    LogOne,
    LogQuery,
    LogRows,
    LogShow,
    ReportParts,
    ShopForecast,
)
from bench.units import System

Answer = LogRows | LogOne | LogEventRows | Document


def answer(
    path: Path,
    request: LogQuery,
    *,
    units: System,
    jigs: Mapping[str, Jig],
) -> Answer:
    """Blocks: call it off the event loop. jigs: the sleds of the settings. Raises
    LogError, OptionError, InvalidRequest."""
    return msgspec.structs.replace(_answer(path, request, units, jigs), ref=request.ref)


def _answer(
    path: Path, request: LogQuery, units: System, jigs: Mapping[str, Jig]
) -> Answer:
    # each road loads what it needs: a list of results needs no forecast
    match request:
        case LogList(jig=jig, check=check, most=most, before=before):
            from bench.log import history

            return history.listed(path, jig=jig, check=check, most=most, before=before)
        case LogShow():
            from bench.log import history

            return history.show(path, request.id)
        case LogEvents():
            from bench.log.events import events

            return LogEventRows(events(path, request.most, units))
        case Drift():
            from bench.log.upkeep_history import drift_of_log

            return Document(drift_of_log(path, request.jig, request.check))
        case Due():
            from bench.log.upkeep_history import due_of_log

            return Document(due_of_log(path, request.at, jigs))
    from bench.log import cut_forecast

    match request:
        case CutForecast(jig=jig, options=options):
            made = cut_forecast.cut_forecast(path, jig, options, jigs, units)
            return Document(made)
        case ShopForecast():
            return Document(cut_forecast.shop_forecast(path, jigs))
        case ReportParts():
            return Document(cut_forecast.report_parts(path, jigs, units))
    raise InvalidRequest(f"a log does not answer {type(request).__name__}")
