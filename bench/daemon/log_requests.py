"""Requests that ask about the log, answered off the event loop."""

from __future__ import annotations

import asyncio
import contextlib
import time
from functools import partial
from pathlib import Path
from typing import Any, Protocol

import msgspec

from bench.checks.options import OptionError
from bench.daemon.clients import Client
from bench.daemon.panel import PanelLink
from bench.finding import Finding, Unread
from bench.log import cut_forecast, event_log, history, upkeep_history
from bench.log.importer import Importer, SizedWrite
from bench.log.writer import LogWriter
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    CutForecast,
    Document,
    Drift,
    Due,
    LogEventRows,
    LogEvents,
    LogExport,
    LogImport,
    LogImported,
    LogList,
    LogOne,
    LogShow,
    LogText,
    ShopForecast,
)
from bench.settings.settings_file import Paths, Settings

EXPORT_PIECE = 64 * 1024  # characters of an export in one message
IMPORT_PIECE = 45_000  # bytes of an import in one message
FLUSH = 1.0  # s


LAST = 5  # results in a status
FromLog = (
    LogList | LogShow | LogExport | LogEvents | Drift | Due | CutForecast | ShopForecast
)


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
    request: FromLog,
) -> None:
    path = service.paths.log
    if isinstance(request, LogList):
        rows = await asyncio.to_thread(
            history.listed,
            path,
            jig=request.jig,
            check=request.check,
            most=request.most,
            before=request.before,
        )
        client.send(msgspec.structs.replace(rows, ref=request.ref))
    elif isinstance(request, LogEvents):
        units = service.settings.units
        # events of no check wait for company
        await asyncio.to_thread(service.log.flush, FLUSH)
        events = await asyncio.to_thread(event_log.events, path, request.most, units)
        client.send(LogEventRows(events, request.ref))
    elif isinstance(request, LogShow):
        shown = await asyncio.to_thread(history.show, path, request.id)
        client.send(
            LogOne(
                shown.finding,
                msgspec.Raw(msgspec.json.encode(shown.evidence)),
                [msgspec.Raw(msgspec.json.encode(m)) for m in shown.moves],
                request.ref,
            )
        )
    elif isinstance(request, Drift):
        document = await asyncio.to_thread(
            upkeep_history.drift_of_log, path, request.jig, request.check
        )
        client.send_large(Document(document, request.ref))
    elif isinstance(request, Due):
        try:
            document = await asyncio.to_thread(
                upkeep_history.due_of_log, path, request.at, service.settings.gear.jigs
            )
        except ValueError as error:
            raise InvalidRequest(str(error)) from error
        if request.remind:
            due = any(row["state"] == "now" for row in document["due"])
            service.panel.due(due)
        client.send_large(Document(document, request.ref))
    elif isinstance(request, CutForecast | ShopForecast):
        client.send(Document(await _forecast(service, request), request.ref))
    else:
        await _export(path, client, request)


async def _export(path: Path, client: Client, request: LogExport) -> None:
    """No further than the client reads: a slow one only waits for itself."""
    unread: list[Unread] = []
    pieces = history.exported(path, request.id, unread)
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


async def _forecast(
    service: LogService, request: CutForecast | ShopForecast
) -> dict[str, Any]:
    """With the sleds as the settings have them now. Raises InvalidRequest,
    LogError."""
    jigs, now = service.settings.gear.jigs, time.time()
    if isinstance(request, ShopForecast):
        call = partial(cut_forecast.shop_forecast, service.paths.log)
    else:
        call = partial(
            cut_forecast.cut_forecast,
            service.paths.log,
            request.jig,
            request.options,
            units=service.settings.units,
        )
    try:
        return await asyncio.to_thread(call, now=now, jigs=jigs)
    except OptionError as error:
        raise InvalidRequest(str(error)) from error


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
    while not await asyncio.to_thread(log.flush, FLUSH):
        if log.trouble is not None:
            raise OSError(log.trouble)
