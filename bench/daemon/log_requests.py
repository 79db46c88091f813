"""Requests that ask about the log, answered off the event loop."""

from __future__ import annotations

import asyncio
import contextlib

import msgspec

from bench.daemon.request_context import RequestContext
from bench.finding import Unread
from bench.log import export, history
from bench.log.answers import Answer, answer
from bench.log.importer import Importer
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Document,
    Due,
    LogEvents,
    LogExport,
    LogImport,
    LogQuestion,
    LogText,
)
from hw.patience import LOG_ASKED_FLUSH_S

EXPORT_PIECE = 64 * 1024  # characters of an export in one message
IMPORT_PIECE = 45_000  # bytes of an import in one message


LAST = 5  # results in a status


async def from_log(context: RequestContext, request: LogQuestion) -> None:
    context.client.send_large(await _answer(context, request))


async def _answer(context: RequestContext, request: LogQuestion) -> Answer:
    service = context.service
    units, jigs = service.settings.units, service.settings.gear.jigs
    path = service.paths.log
    return await asyncio.to_thread(answer, path, request, units=units, jigs=jigs)


async def log_events(context: RequestContext, request: LogEvents) -> None:
    # events of no check wait for company
    await asyncio.to_thread(context.service.log.flush, LOG_ASKED_FLUSH_S)
    await from_log(context, request)


async def due(context: RequestContext, request: Due) -> None:
    reply = await _answer(context, request)
    if request.remind and isinstance(reply, Document):
        is_due = any(row["state"] == "now" for row in reply.document["due"])
        context.service.panel.due(is_due)
    context.client.send_large(reply)


async def export_log(context: RequestContext, request: LogExport) -> None:
    """No further than the client reads: a slow one only waits for itself."""
    client = context.client
    unread: list[Unread] = []
    pieces = export.exported(context.service.paths.log, request.id, unread)
    try:
        while (text := await asyncio.to_thread(next, pieces, None)) is not None:
            for start in range(0, len(text), EXPORT_PIECE):
                piece = text[start : start + EXPORT_PIECE]
                client.send(LogText(piece, False, request.ref))
                await client.drained()
    finally:
        # at this moment it reads, in its thread
        with contextlib.suppress(ValueError):
            pieces.close()
    client.send(LogText("", True, request.ref, unread))


async def import_piece(context: RequestContext, request: LogImport) -> None:
    """Answered when the disk has all of the piece, so that a file of any size waits for
    the disk in the hands of whoever sends it. Raises OSError where it takes nothing."""
    service, client = context.service, context.client
    importer = client.importing = client.importing or Importer()
    if len(request.piece) > IMPORT_PIECE:
        raise InvalidRequest(f"a piece of an import has at most {IMPORT_PIECE} bytes")
    reply = await asyncio.to_thread(
        importer.take, service.log, request.piece, last=request.last
    )
    if request.last:
        # what it remembers of each line is let go before the log is read again
        client.importing = None
        del importer
        service.last = await asyncio.to_thread(history.latest, service.paths.log, LAST)
    client.send(msgspec.structs.replace(reply, ref=request.ref))
