"""Gathers what a report is made from: asks the daemon, or reads a log and the
settings."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench.cli.common import Complaint, load_settings, paths, request
from bench.cli.log import from_file, listed

if TYPE_CHECKING:
    import msgspec

    from bench.checks.model import EvidenceGear
    from bench.protocol import LogRows
    from bench.render.report.source import ReportSource
    from bench.units import System

MOST = 10_000  # results; more than ten years of daily checks

Document = dict[str, Any]


def from_daemon(socket: str | None, jig: str | None) -> tuple[ReportSource, System]:
    from bench import protocol

    def ask(message: msgspec.Struct) -> Document:
        return request(socket, message, protocol.Document)[0].document

    rows, units = listed(socket, None, jig, None, MOST)
    source = _source(
        rows,
        jig,
        partial(_gear_used, socket),
        drift=ask(protocol.Drift(jig=jig)),
        due=ask(protocol.Due()),
        cut=lambda name: ask(protocol.CutForecast(jig=name)),
        units=units,
    )
    return source, units


def _gear_used(socket: str | None, finding: str) -> EvidenceGear:
    import msgspec

    from bench.checks.model import Evidence
    from bench.protocol import LogOne, LogShow

    reply, _ = request(socket, LogShow(id=finding), LogOne)
    return msgspec.json.decode(reply.evidence, type=Evidence).gear


def gear_used(path: Path, finding: str) -> EvidenceGear:
    from bench.log.findings import load_gear_used
    from bench.log.read_only import open_read

    with open_read(path) as db:
        return load_gear_used(db, finding)


def from_log(
    log: str, settings_path: str | None, jig: str | None
) -> tuple[ReportSource, System]:
    """In the units of the settings, with their sleds."""
    from bench.log import cut_forecast, upkeep_history

    settings = load_settings(paths(settings=settings_path, log=log))
    path, units, jigs = Path(log), settings.units, settings.gear.jigs
    rows, _ = listed(None, log, jig, None, MOST)
    source = _source(
        rows,
        jig,
        lambda name: from_file(lambda _: gear_used(path, name)),
        drift=from_file(lambda _: upkeep_history.drift_of_log(path, jig)),
        due=from_file(lambda _: upkeep_history.due_of_log(path, jigs=jigs)),
        cut=lambda name: from_file(
            lambda _: cut_forecast.cut_forecast(
                path, name, {}, now=time.time(), jigs=jigs, units=units
            )
        ),
        units=units,
    )
    return source, units


def _source(
    rows: LogRows,
    jig: str | None,
    gear: Callable[[str], EvidenceGear],
    *,
    drift: Document,
    due: Document,
    cut: Callable[[str], Document],
    units: System,
) -> ReportSource:
    import msgspec

    from bench.render.finding import unread_words
    from bench.render.report.source import ReportSource

    gone = set(rows.superseded)
    findings = [one for one in rows.findings if one.id not in gone]
    latest: dict[str, str] = {}
    for one in findings:
        if subject := one.jig or one.saw:
            latest.setdefault(subject, one.id)
    if jig is not None:
        due = {**due, "due": [row for row in due["due"] if row["jig"] == jig]}
    source = ReportSource(
        at=datetime.now().astimezone().date().isoformat(),
        findings=findings,
        moves=rows.moves,
        distances=rows.distances,
        gear={subject: gear(name) for subject, name in latest.items()},
        drift=drift,
        due=due,
        left_out=[unread_words(rows.unread)] if rows.unread else [],
    )
    if jig is not None and not source.subjects():
        raise Complaint(f"nothing was measured with a sled called {jig!r} yet")
    sleds = {one.jig for one in findings if one.jig is not None}
    return msgspec.structs.replace(source, cuts={name: cut(name) for name in sleds})
