"""Requests that ask about the log, answered off the event loop."""

from __future__ import annotations

import asyncio
import contextlib
from pathlib import Path
from typing import Protocol

import msgspec

from bench.daemon.clients import Client
from bench.daemon.panel import PanelLink
from bench.finding import Finding, Unread
from bench.log import export, history
from bench.log.answers import FromLog, answer
from bench.log.importer import Importer, SizedWrite
from bench.log.writer import LogWriter
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Document,
    Due,
    LogEvents,
    LogExport,
    LogImport,
    LogImported,
    LogText,
)
from bench.settings.settings_file import Paths, Settings
from hw.patience import LOG_ASKED_FLUSH_S

EXPORT_PIECE = 64 * 1024  # characters of an export in one message
IMPORT_PIECE = 45_000  # bytes of an import in one message


LAST = 5  # results in a status


class LogService(Protocol):
    """What of the daemon these answers are made from; see bench.daemon.service."""

    last: list[Finding]
    settings: Settings
    paths: Paths
    log: LogWriter
    panel: PanelLink


async def answer_from_log(
    service: LogService,
    client: Client,
    request: FromLog | LogExport,
) -> None:
    path, settings = service.paths.log, service.settings
    if isinstance(request, LogExport):
        await _export(path, client, request)
        return
    if isinstance(request, LogEvents):
        # events of no check wait for company
        await asyncio.to_thread(service.log.flush, LOG_ASKED_FLUSH_S)
    reply = await asyncio.to_thread(
        answer, path, request, units=settings.units, jigs=settings.gear.jigs
    )
    if isinstance(request, Due) and request.remind and isinstance(reply, Document):
        due = any(row["state"] == "now" for row in reply.document["due"])
        service.panel.due(due)
    client.send_large(reply)


async def _export(path: Path, client: Client, request: LogExport) -> None:
    """No further than the client reads: a slow one only waits for itself."""
    unread: list[Unread] = []
    pieces = export.exported(path, request.id, unread)
    try:
        while (text := await asyncio.to_thread(next, pieces, None)) is not None:
            for start in range(0, len(text), EXPORT_PIECE):
                client.send(
                    LogText(text[start : start + EXPORT_PIECE], False, request.ref)
                )
                await client.drained()
    finally:
        # at this moment it reads, in its thread
        with contextlib.suppress(ValueError):
            pieces.close()
    client.send(LogText("", True, request.ref, unread))


async def import_piece(service: LogService, client: Client, request: LogImport) -> None:
    """Answered when the disk has all of the piece, so that a file of any size waits for
    the disk in the hands of whoever sends it. Raises OSError where it takes nothing."""
    importer = client.importing = client.importing or Importer()
    if len(request.piece) > IMPORT_PIECE:
        raise InvalidRequest(f"a piece of an import has at most {IMPORT_PIECE} bytes")
    writes = await asyncio.to_thread(
        lambda: [*importer.read(request.piece, last=request.last)]
    )
    await _written(service.log, writes)
    if request.last:
        await _written(service.log, [*importer.end()])
        counts = msgspec.to_builtins(importer.counts)
        service.log.event(None, "imported", counts, urgent=True)
        await _written(service.log, [])
    done = importer.counts
    reply = LogImported(
        done.lines,
        done.taken,
        done.known,
        done.events,
        done.left_out,
        importer.problems(),
        request.ref,
    )
    if request.last:
        # what it remembers of each line is let go before the log is read again
        client.importing = None
        del importer, writes
        service.last = await asyncio.to_thread(history.latest, service.paths.log, LAST)
    client.send(reply)


async def _written(log: LogWriter, writes: list[SizedWrite]) -> None:
    for write, size in writes:
        log.put(write, urgent=False, size=size)
    while not await asyncio.to_thread(log.flush, LOG_ASKED_FLUSH_S):
        if log.trouble is not None:
            raise OSError(log.trouble)
