"""Answers what is asked of a log: the daemon's own, or a file that a command names."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from bench.checks.options import OptionError
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
    units: System = "mm",
    jigs: Mapping[str, Jig] | None = None,
) -> Answer:
    """Blocks: call it off the event loop. jigs: the sleds of the settings. Raises
    LogError, InvalidRequest."""
    try:
        reply = _answer(path, request, units, jigs or {})
    except OptionError as error:
        raise InvalidRequest(str(error)) from error
    if isinstance(reply, dict):
        reply = Document(reply)
    return msgspec.structs.replace(reply, ref=request.ref)


def _answer(
    path: Path, request: LogQuery, units: System, jigs: Mapping[str, Jig]
) -> Answer | dict[str, Any]:
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

            return drift_of_log(path, request.jig, request.check)
        case Due():
            from bench.log.upkeep_history import due_of_log

            return due_of_log(path, request.at, jigs)
    from bench.log import cut_forecast

    match request:
        case CutForecast(jig=jig, options=options):
            return cut_forecast.cut_forecast(path, jig, options, jigs=jigs, units=units)
        case ShopForecast():
            return cut_forecast.shop_forecast(path, jigs)
        case ReportParts():
            return cut_forecast.report_parts(path, jigs, units)
    raise InvalidRequest(f"a log does not answer {type(request).__name__}")
