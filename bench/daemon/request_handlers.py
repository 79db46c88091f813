"""What the daemon does when a client asks: the table of the requests' handlers."""

from __future__ import annotations

import inspect
import logging
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

import msgspec

from bench import protocol
from bench.daemon import check_requests, gear_requests, log_requests, status_requests
from bench.daemon.clients import Client
from bench.daemon.outbox import Send
from bench.daemon.request_context import RequestContext
from bench.log.rows import LogError
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Error, Question, Request
from bench.render.notices import with_words
from bench.settings.settings_file import SettingsError

if TYPE_CHECKING:
    from bench.daemon.service import Service

log = logging.getLogger("sweepgauge")

# A handler gets the context and the request; what it returns is sent. One with several
# answers sends them itself.
Answer = msgspec.Struct | None
Handler = Callable[[RequestContext, Any], Answer | Awaitable[Answer]]

HANDLERS: dict[type[Request], Handler] = {
    protocol.GetStatus: lambda context, _: status_requests.status(context.service),
    protocol.GetGear: lambda context, _: status_requests.gear(context.service),
    protocol.GetChecks: lambda context, _: status_requests.kinds(context.service),
    protocol.NotesSeen: status_requests.notes_seen,
    protocol.Watch: status_requests.watch,
    protocol.Capture: status_requests.capture,
    protocol.Begin: check_requests.begin,
    protocol.Press: check_requests.press,
    protocol.Undo: check_requests.undo,
    protocol.Abandon: check_requests.abandon,
    protocol.Extend: check_requests.extend,
    protocol.Moved: check_requests.moved,
    protocol.Live: check_requests.live,
    protocol.Learn: gear_requests.learn,
    protocol.PutJig: gear_requests.put_jig,
    protocol.PutSaw: gear_requests.put_saw,
    protocol.PutSquare: gear_requests.put_square,
    protocol.PutLeaves: gear_requests.put_leaves,
    protocol.PutUnits: gear_requests.put_units,
    protocol.PutSound: gear_requests.put_sound,
    protocol.NoteEvent: gear_requests.note_event,
    protocol.LogImport: log_requests.import_piece,
    protocol.LogExport: log_requests.export_log,
    protocol.LogEvents: log_requests.log_events,
    protocol.Due: log_requests.due,
    protocol.LogList: log_requests.from_log,
    protocol.LogShow: log_requests.from_log,
    protocol.Drift: log_requests.from_log,
    protocol.CutForecast: log_requests.from_log,
    protocol.ShopForecast: log_requests.from_log,
    protocol.ReportParts: log_requests.from_log,
}


class RequestHandlers:
    def __init__(self, service: Service) -> None:
        self.service = service

    async def answer(self, client: Client, request: Request) -> None:
        """Whatever is wrong with the request becomes an error message to that client
        alone.

        A question is answered at once. Every other answer waits, as all that is told
        does, until the disk has what the request changed and what was changed before
        it.
        """
        send = self._in_words(client)
        if not isinstance(request, Question):
            send = self.service.bench.outbox.answers(send)
        try:
            context = RequestContext(self.service, client, send, time.monotonic())
            answer = HANDLERS[type(request)](context, request)
            if inspect.isawaitable(answer):
                answer = await answer
            if answer is not None:
                send(msgspec.structs.replace(answer, ref=request.ref))
        except ConnectionError:
            raise  # nobody is there any more to hear of it
        except Exception as error:
            send(_refusal(error, request))

    def _in_words(self, client: Client) -> Send:
        """What sends an answer to the client with its sentences made."""

        def send(message: msgspec.Struct) -> None:
            client.send(with_words(message, self.service.settings.units))

        return send


def _refusal(error: Exception, request: Request) -> Error:
    match error:
        case InvalidRequest() | SettingsError():
            return Error("wrong-use", str(error), request.ref)
        case LogError():
            return Error("not-found", str(error), request.ref)
        case OSError():
            words = f"it could not be written: {error}"
            return Error("not-recorded", words, request.ref)
    # a fault of ours must not look to the client like a daemon that died
    name = type(request).__name__
    log.error("answering %s", name, exc_info=error)
    words = f"the daemon stumbled over this ({type(error).__name__}: {error})"
    return Error("fault", words, request.ref)
