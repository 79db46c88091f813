"""Gathers what a report is made from: asks the daemon, or reads a log and the
settings."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from bench.cli.common import Complaint, load_settings, paths, request
from bench.cli.log import listed

if TYPE_CHECKING:
    from bench.protocol import Document, LogRows
    from bench.render.report.source import ReportSource
    from bench.units import System

MOST = 10_000  # results; more than ten years of daily checks


def report_source(
    socket: str | None, log: str | None, settings_path: str | None, jig: str | None
) -> tuple[ReportSource, System]:
    """In the units of the daemon, or else of the settings. Raises Complaint."""
    from bench import protocol

    rows, units = listed(socket, log, jig, None, MOST)
    if log is None:
        parts, units = request(socket, protocol.ReportParts(), protocol.Document)
    else:
        from bench.log.answers import answer

        settings = load_settings(paths(settings=settings_path, log=log))
        units, jigs = settings.units, settings.gear.jigs
        reply = answer(Path(log), protocol.ReportParts(), units=units, jigs=jigs)
        assert isinstance(reply, protocol.Document)
        parts = reply
    return _source(rows, parts, jig), units


def _source(rows: LogRows, parts: Document, jig: str | None) -> ReportSource:
    import msgspec

    from bench.render.finding import unread_words
    from bench.render.report.source import ReportSource

    gone = set(rows.superseded)
    findings = [one for one in rows.findings if one.id not in gone]
    document = {**parts.document, "findings": []}
    if jig is not None:
        for name, part in (("drift", "series"), ("due", "due")):
            those = [row for row in document[name][part] if row["jig"] == jig]
            document[name] = {**document[name], part: those}
    source = msgspec.structs.replace(
        msgspec.convert(document | {"at": _today()}, ReportSource),
        findings=findings,
        moves=rows.moves,
        distances=rows.distances,
        left_out=[unread_words(rows.unread)] if rows.unread else [],
    )
    if jig is not None and not source.subjects():
        raise Complaint(f"nothing was measured with a sled called {jig!r} yet")
    return source


def _today() -> str:
    return datetime.now().astimezone().date().isoformat()
