"""Answers what is asked of a log: the daemon's own, or a file that a command names."""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path

import msgspec

from bench.checks.options import OptionError
from bench.gear import Jig
from bench.log import cut_forecast, event_log, history, upkeep_history
from bench.log.report_parts import report_parts
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    CutForecast,
    Document,
    Drift,
    Due,
    LogEventRows,
    LogEvents,
    LogList,
    LogOne,
    LogRows,
    LogShow,
    ReportParts,
    ShopForecast,
)
from bench.units import System
from bench.upkeep.due import BeforeLastResult

FromLog = (
    LogList
    | LogShow
    | LogEvents
    | Drift
    | Due
    | CutForecast
    | ShopForecast
    | ReportParts
)
Answer = LogRows | LogOne | LogEventRows | Document


def answer(
    path: Path,
    request: FromLog,
    *,
    units: System = "mm",
    jigs: Mapping[str, Jig] | None = None,
) -> Answer:
    """Blocks: call it off the event loop. jigs: the sleds of the settings. Raises
    LogError, InvalidRequest."""
    try:
        reply = _answer(path, request, units, jigs or {})
    except (OptionError, BeforeLastResult) as error:
        raise InvalidRequest(str(error)) from error
    return msgspec.structs.replace(reply, ref=request.ref)


def _answer(
    path: Path, request: FromLog, units: System, jigs: Mapping[str, Jig]
) -> Answer:
    now = time.time()
    match request:
        case LogList(jig=jig, check=check, most=most, before=before):
            return history.listed(path, jig=jig, check=check, most=most, before=before)
        case LogShow():
            return history.show(path, request.id)
        case LogEvents():
            return LogEventRows(event_log.events(path, request.most, units))
        case Drift():
            document = upkeep_history.drift_of_log(path, request.jig, request.check)
        case Due():
            document = upkeep_history.due_of_log(path, request.at, jigs)
        case CutForecast(jig=jig, options=options):
            document = cut_forecast.cut_forecast(
                path, jig, options, now=now, jigs=jigs, units=units
            )
        case ShopForecast():
            document = cut_forecast.shop_forecast(path, now=now, jigs=jigs)
        case ReportParts():
            document = report_parts(path, now=now, jigs=jigs, units=units)
    return Document(document)
