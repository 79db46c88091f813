"""Requests that ask how things stand and what the log holds, and what a client wants to
be told of. The log is asked off the event loop."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from bench import __version__
from bench.checks import checks
from bench.checks.model import Check, EvidenceGear
from bench.daemon.check_controller import why_not
from bench.daemon.request_context import RequestContext
from bench.finding import Finding, UnreadableRecord
from bench.log import export, history
from bench.log.answers import answer
from bench.log.importer import Importer
from bench.procedure.invalid_request import InvalidRequest
from bench.protocol import (
    IMPORT_PIECE,
    Capture,
    CheckKind,
    ChecksReply,
    Document,
    Done,
    Due,
    GearReply,
    LogEvents,
    LogExport,
    LogImport,
    LogQuery,
    LogText,
    NotesSeen,
    StatusReply,
    Watch,
)
from bench.render.notices import text
from bench.render.result import dangerous
from bench.settings.settings_file import Settings
from hw.timeouts import LOG_ASKED_FLUSH_S

if TYPE_CHECKING:
    from bench.daemon.service import Service

EXPORT_PIECE = 64 * 1024  # characters of an export in one message
LAST = 5  # results in a status, and the older ones whose danger stands


def earlier(path: Path) -> list[Finding]:
    """The results of a status, of the log. It blocks."""
    return shown(history.latest(path, LAST))


def shown(newest_first: Sequence[Finding]) -> list[Finding]:
    """Of these the results of a status."""
    stand = [one for one in dangerous(newest_first) if one in newest_first[LAST:]]
    return [*newest_first[:LAST], *stand]


def status(service: Service) -> StatusReply:
    shared, run, recording = service.shared, service.station.run, service.recording.now
    gear = shared.settings.gear
    # by role the way in which the number grows, as it was found or written
    ways = {"indicator": gear.indicator.grows, "travel": gear.travel.grows}
    return StatusReply(
        program=f"sweepgauge {__version__}",
        log=str(shared.paths.log),
        recording=text(recording.remarks),
        instruments=[
            msgspec.structs.replace(one, grows=ways.get(one.role, ""))
            for one in service.station.states()
        ],
        run=run.run_state() if run is not None else None,
        last=shared.last,
        notes=service.notes,
        told=service.notes_told,
        log_state=recording.state,
    )


def gear(settings: Settings) -> GearReply:
    gear = settings.gear
    return GearReply(
        jigs=list(gear.jigs.values()),
        saws=list(gear.saws.values()),
        squares=list(gear.squares.values()),
        leaves=list(gear.leaves),
        units=settings.units,
        sound=settings.sound,
        marks=list(gear.travel.marks) if gear.travel.by_marks else [],
    )


def kinds(settings: Settings) -> ChecksReply:
    wired = settings.wired
    return ChecksReply([_kind(check, wired) for check in checks().values()])


def _kind(check: Check, wired: Collection[str]) -> CheckKind:
    steps = check.plan({}, EvidenceGear())
    why = why_not(check, {}, EvidenceGear(), wired)
    return CheckKind(
        kind=check.kind,
        question=check.question,
        needs=list(check.needs),
        options=[option for option in check.options if not option.recorded],
        can=why is None,
        why_not=why or "",
        swept=any(step.gather == "sweep" for step in steps),
        sided=any(step.leans for step in steps),
        verifies=check.lighter is not None,
        turns_fence=check.turns_fence,
        picture=steps[0].picture if steps else None,
        side=steps[0].side if steps else None,
    )


def notes_seen(context: RequestContext, request: NotesSeen) -> Done:
    service = context.service
    seen = min(request.count, len(service.notes))
    service.notes_told = max(service.notes_told, seen)
    return Done("seen")


def watch(context: RequestContext, request: Watch) -> None:
    client = context.client
    client.watching, client.most = request.on, request.most
    context.send(Done("watching" if request.on else "no longer watching", request.ref))
    if request.on:
        context.service.device_setup.greet(context.send)


def capture(context: RequestContext, request: Capture) -> Done:
    names = [*context.shared.settings.wired]
    if not names and not request.instrument:
        raise InvalidRequest(
            "no instrument is set up yet: `sweepgauge learn indicator` finds its cable"
        )
    name = request.instrument or names[0]
    if name not in names:
        raise InvalidRequest(
            f"no instrument is called {name!r}; there are: {', '.join(names) or 'none'}"
        )
    context.client.capturing = name if request.on else None
    return Done(name)


# ---- of the log ----------------------------------------------------------------------


async def from_log(context: RequestContext, request: LogQuery) -> None:
    shared = context.shared
    units, jigs = shared.settings.units, shared.settings.gear.jigs
    reply = await asyncio.to_thread(
        answer, shared.paths.log, request, units=units, jigs=jigs
    )
    if isinstance(request, Due) and request.remind and isinstance(reply, Document):
        is_due = any(row["state"] == "now" for row in reply.document["due"])
        context.service.panel.due(is_due)
    context.client.send_large(reply)


async def log_events(context: RequestContext, request: LogEvents) -> None:
    # events outside of checks wait to be committed together with other writes
    await asyncio.to_thread(context.shared.log.flush, LOG_ASKED_FLUSH_S)
    await from_log(context, request)


async def export_log(context: RequestContext, request: LogExport) -> None:
    """Send an export as fast as the client reads: a slow client delays only itself."""
    client = context.client
    unread: list[UnreadableRecord] = []
    pieces = export.exported(context.shared.paths.log, request.id, unread)
    try:
        while (text := await asyncio.to_thread(next, pieces, None)) is not None:
            for start in range(0, len(text), EXPORT_PIECE):
                piece = text[start : start + EXPORT_PIECE]
                client.send(LogText(piece, False, ref=request.ref))
                await client.drained()
    finally:
        # its thread may be reading at this moment, and then it cannot be closed
        with contextlib.suppress(ValueError):
            pieces.close()
    client.send(LogText("", True, unread, ref=request.ref))


async def import_piece(context: RequestContext, request: LogImport) -> None:
    """Answered when the disk has all of the piece, so that a file of any size waits for
    the disk in the hands of whoever sends it. Raises OSError where it takes nothing."""
    shared, client = context.shared, context.client
    importer = client.importing = client.importing or Importer()
    if len(request.piece) > IMPORT_PIECE:
        raise InvalidRequest(f"a piece of an import has at most {IMPORT_PIECE} bytes")
    reply = await asyncio.to_thread(
        importer.take, shared.log, request.piece, last=request.last
    )
    if request.last:
        # the memory of each line is freed before the log is read again
        client.importing = None
        del importer
        shared.last = await asyncio.to_thread(earlier, shared.paths.log)
    client.send(msgspec.structs.replace(reply, ref=request.ref))
