"""The table of the handlers of requests, and the answers to them."""

from __future__ import annotations

import logging
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

import msgspec

from bench import protocol
from bench.checks import UnknownCheck
from bench.checks.options import OptionError
from bench.daemon import check_requests, gear_requests, queries
from bench.daemon.clients import Client
from bench.daemon.request_context import RequestContext
from bench.log.rows import LogError
from bench.moves.nudge import LiveMoveError
from bench.procedure.invalid_request import InvalidRequest
from bench.protocol import Error, Query, Request
from bench.render.notices import with_words
from bench.settings.settings_file import SettingsError

if TYPE_CHECKING:
    from bench.daemon.service import Service

log = logging.getLogger("sweepgauge")

# errors of the client; their text says what was wrong and what would do
WRONG_USE = InvalidRequest, SettingsError, UnknownCheck, OptionError, LiveMoveError

# A handler gets the context and the request; what it returns is sent. One with several
# answers sends them itself.
Answer = msgspec.Struct | None
Handler = Callable[[RequestContext, Any], Answer | Awaitable[Answer]]

HANDLERS: dict[type[Request], Handler] = {
    protocol.GetStatus: lambda context, _: queries.status(context.service),
    protocol.GetGear: lambda context, _: queries.gear(context.shared.settings),
    protocol.GetChecks: lambda context, _: queries.kinds(context.shared.settings),
    protocol.NotesSeen: queries.notes_seen,
    protocol.Watch: queries.watch,
    protocol.Capture: queries.capture,
    protocol.Begin: check_requests.begin,
    protocol.Press: check_requests.press,
    protocol.Undo: check_requests.undo,
    protocol.Abandon: check_requests.abandon,
    protocol.Extend: check_requests.extend,
    protocol.NoteMove: check_requests.moved,
    protocol.LiveMoveRequest: check_requests.live,
    protocol.Learn: gear_requests.learn,
    protocol.PutJig: gear_requests.put_gear,
    protocol.PutSaw: gear_requests.put_gear,
    protocol.PutSquare: gear_requests.put_gear,
    protocol.PutLeaves: gear_requests.put_gear,
    protocol.PutUnits: gear_requests.put_setting,
    protocol.PutSound: gear_requests.put_setting,
    protocol.NoteEvent: gear_requests.note_event,
    protocol.LogImport: queries.import_piece,
    protocol.LogExport: queries.export_log,
    protocol.LogEvents: queries.log_events,
    protocol.Due: queries.from_log,
    protocol.LogList: queries.from_log,
    protocol.LogShow: queries.from_log,
    protocol.Drift: queries.from_log,
    protocol.CutForecast: queries.from_log,
    protocol.ShopForecast: queries.from_log,
    protocol.ReportParts: queries.from_log,
}


async def answer_request(service: Service, client: Client, request: Request) -> None:
    """Answer one request; an error is told to that client alone. A query is answered at
    once. Every other answer waits until the disk has what the request changed and what
    was changed before it."""
    shared = service.shared

    def in_words(message: msgspec.Struct) -> None:
        client.send(with_words(message, shared.settings.units))

    at_once = isinstance(request, Query)
    send = in_words if at_once else shared.outbox.answers(in_words)
    try:
        context = RequestContext(service, shared, client, send, time.monotonic())
        answer = HANDLERS[type(request)](context, request)
        if isinstance(answer, Awaitable):
            answer = await answer
        if answer is not None:
            send(msgspec.structs.replace(answer, ref=request.ref))
    except ConnectionError:
        raise  # nobody is there any more to hear of it
    except Exception as error:
        send(_refusal(error, request))


def _refusal(error: Exception, request: Request) -> Error:
    match error:
        case _ if isinstance(error, WRONG_USE):
            code, words = "wrong-use", str(error)
        case LogError():
            code, words = "not-found", str(error)
        case OSError():
            code, words = "not-recorded", f"it could not be written: {error}"
        case _:
            # a fault of ours must not look to the client like a daemon that died
            log.error("answering %s", type(request).__name__, exc_info=error)
            fault = f"{type(error).__name__}: {error}"
            code, words = "fault", f"the daemon stumbled over this ({fault})"
    return Error(code, words, ref=request.ref)
