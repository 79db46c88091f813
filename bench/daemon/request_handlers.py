"""What the daemon does when a client asks: one method for each kind of request."""

from __future__ import annotations

import logging
import time
from typing import Protocol

import msgspec

from bench import __version__
from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.daemon.clients import Client
from bench.daemon.device_setup import DeviceSetup
from bench.daemon.gear_events import note_event
from bench.daemon.gear_requests import GearService, put_gear, put_setting
from bench.daemon.log_requests import (
    LogService,
    answer_from_log,
    import_piece,
)
from bench.daemon.mark_beat import MarkBeat
from bench.daemon.outbox import Send
from bench.daemon.quick_check import as_quick
from bench.daemon.recording_state import RecordingState
from bench.finding import Finding
from bench.log.answers import FromLog
from bench.log.rows import LogError
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Abandon,
    Begin,
    Capture,
    CheckKind,
    ChecksReply,
    CutForecast,
    Done,
    Drift,
    Due,
    Error,
    Extend,
    GearReply,
    GetChecks,
    GetGear,
    GetStatus,
    InstrumentState,
    Learn,
    Live,
    LogEvents,
    LogExport,
    LogImport,
    LogList,
    LogShow,
    Moved,
    NoteEvent,
    NotesSeen,
    Press,
    PromptChanged,
    PutJig,
    PutLeaves,
    PutSaw,
    PutSound,
    PutSquare,
    PutUnits,
    ReportParts,
    Request,
    Saved,
    ShopForecast,
    StatusReply,
    Undo,
    Watch,
)
from bench.render.notices import text, with_words
from bench.settings.settings_file import SettingsError

log = logging.getLogger("sweepgauge")

ONLY_ASKS = (
    GetStatus,
    Watch,
    Capture,
    NotesSeen,
    GetGear,
    GetChecks,
    LogList,
    LogShow,
    LogExport,
    LogEvents,
    Drift,
    Due,
    CutForecast,
    ShopForecast,
    ReportParts,
    LogImport,
)
SHORTEST_BEAT, LONGEST_BEAT = 1.0, 60.0  # s


class AnsweringService(GearService, LogService, Protocol):
    """What of the daemon answers are made from; see bench.daemon.service."""

    recording: RecordingState
    notes: list[str]
    notes_told: int
    last: list[Finding]
    beat: MarkBeat
    learner: DeviceSetup

    def tell(self, message: msgspec.Struct) -> None: ...
    def press(self, now: float, *, waits: bool = True) -> bool: ...


class RequestHandlers:
    def __init__(self, service: AnsweringService) -> None:
        self.service = service

    async def answer(self, client: Client, request: Request) -> None:
        """Whatever is wrong with the request becomes an error message to that client
        alone.

        What only asks is answered at once. Every other answer waits, as all that is
        told does, until the disk has what the request changed and what was changed
        before it.
        """
        ref = request.ref
        send: Send = self._in_words(client)
        if not isinstance(request, ONLY_ASKS):
            send = self.service.bench.outbox.answers(send)
        try:
            await self._answer(client, send, request)
        except (InvalidRequest, SettingsError) as error:
            send(Error("wrong-use", str(error), ref))
        except LogError as error:
            send(Error("not-found", str(error), ref))
        except ConnectionError:
            raise  # nobody is there any more to hear of it
        except OSError as error:
            send(Error("not-recorded", f"it could not be written: {error}", ref))
        except Exception as error:
            # a fault of ours must not look to the client like a daemon that died
            log.exception("answering %s", type(request).__name__)
            send(
                Error(
                    "fault",
                    f"the daemon stumbled over this ({type(error).__name__}: {error})",
                    ref,
                )
            )

    def _in_words(self, client: Client) -> Send:
        """What sends an answer to the client with its sentences made."""

        def send(message: msgspec.Struct) -> None:
            client.send(with_words(message, self.service.settings.units))

        return send

    async def _answer(self, client: Client, send: Send, request: Request) -> None:
        now = time.monotonic()
        bench, ref = self.service.bench, request.ref
        if isinstance(request, GetStatus):
            send(self.status(ref))
        elif isinstance(request, NotesSeen):
            self.service.notes_told = max(
                self.service.notes_told, min(request.count, len(self.service.notes))
            )
            send(Done("seen", ref))
        elif isinstance(request, Watch):
            client.watching, client.most = request.on, request.most
            send(Done("watching" if request.on else "no longer watching", ref))
            if request.on:
                self.service.learner.greet(send)
        elif isinstance(request, Begin):
            request = await as_quick(self.service, request, bench.checking.gear_for)
            self._begin(send, request, now)
        elif isinstance(request, Press):
            used = self.service.press(now, waits=request.waits)
            send(Done("taken" if used else "nothing asks for it", ref))
        elif isinstance(request, Undo):
            send(Done(ref=ref, remarks=[bench.undo(now)]))
        elif isinstance(request, Abandon):
            remark = bench.abandon()
            bench.outbox.tell(PromptChanged(run=None))
            send(Done(ref=ref, remarks=[remark]))
        elif isinstance(request, Extend):
            bench.checking.extend(request, now)
            extended = StatusMessage("extended", {"sweeps": request.sweeps})
            send(Done(ref=ref, remarks=[extended]))
        elif isinstance(request, Moved):
            self._moved(send, request)
        elif isinstance(request, Capture):
            self._capture(client, send, request)
        elif isinstance(request, Learn):
            if request.on:
                self.service.learner.start(request, now)
            else:
                self.service.learner.end()
            send(Done("learning" if request.on else "left", ref))
        elif isinstance(request, Live):
            if request.on:
                self.service.learner.end()
                bench.start_live(request, self._with_move(request.finding, None))
            else:
                bench.live.end()
            send(Done("live" if request.on else "left", ref))
        elif isinstance(request, GetGear):
            send(self.gear(ref))
        elif isinstance(request, GetChecks):
            send(self.kinds(ref))
        elif isinstance(request, PutJig | PutSaw | PutSquare | PutLeaves):
            await put_gear(self.service, send, request)
        elif isinstance(request, PutUnits | PutSound):
            await put_setting(self.service, send, request)
        elif isinstance(request, NoteEvent):
            await note_event(self.service, send, request)
        elif isinstance(request, LogImport):
            await import_piece(self.service, client, request)
        elif isinstance(request, FromLog | LogExport):
            await answer_from_log(self.service, client, request)
        else:
            raise InvalidRequest("this daemon cannot do that")

    # ---- the state of things ---------------------------------------------------------

    def status(self, ref: int | None = None) -> StatusReply:
        service = self.service
        run = service.bench.run
        return StatusReply(
            program=f"sweepgauge {__version__}",
            log=str(service.paths.log),
            recording=text(service.recording.now.remarks),
            instruments=[self._with_way(one) for one in service.bench.states()],
            run=run.state() if run is not None else None,
            last=service.last,
            notes=service.notes,
            told=service.notes_told,
            log_state=service.recording.now.state,
            ref=ref,
        )

    def _with_way(self, one: InstrumentState) -> InstrumentState:
        """Which way its number counts, as it was learned or written."""
        gear = self.service.settings.gear
        grows = {"indicator": gear.indicator.grows, "travel": gear.travel.grows}.get(
            one.role, ""
        )
        return msgspec.structs.replace(one, grows=grows)

    def gear(self, ref: int | None = None) -> GearReply:
        settings = self.service.settings
        gear = settings.gear
        return GearReply(
            jigs=list(gear.jigs.values()),
            saws=list(gear.saws.values()),
            squares=list(gear.squares.values()),
            leaves=list(gear.leaves),
            units=settings.units,
            sound=settings.sound,
            marks=list(gear.travel.marks) if gear.travel.by_marks else [],
            ref=ref,
        )

    def kinds(self, ref: int | None = None) -> ChecksReply:
        bench = self.service.bench
        kinds = []
        for check in checks().values():
            steps = check.plan({}, EvidenceGear())
            why = bench.checking.why_not(check, {}, EvidenceGear())
            kinds.append(
                CheckKind(
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
                )
            )
        return ChecksReply(kinds, ref)

    # ---- checks and moves ------------------------------------------------------------

    def _begin(self, send: Send, request: Begin, now: float) -> None:
        bench = self.service.bench
        if (
            request.beat is not None
            and not SHORTEST_BEAT <= request.beat <= LONGEST_BEAT
        ):
            raise InvalidRequest(
                f"--beat takes {SHORTEST_BEAT:g} to {LONGEST_BEAT:g} s, not"
                f" {request.beat:g}"
            )
        joined = bench.begin(request, now)
        self.service.learner.end()
        if request.beat is not None:
            self.service.beat.begin(request.beat, now)
        assert bench.run is not None
        send(bench.run.asking(joined=joined, ref=request.ref))

    def _moved(self, send: Send, request: Moved) -> None:
        service = self.service
        found = self._with_move(request.finding, request.jig)
        assert found.move is not None
        move = found.move
        if request.distance is None and found.proposed is None:
            raise InvalidRequest(
                "that result is too close to call and named no move: say with"
                " --distance how far it went"
            )
        distance = move.distance if request.distance is None else request.distance
        service.log.move_made(
            f"move-{found.id}", {"distance_mm": distance, "how": request.how}
        )
        service.bench.outbox.tell(Saved("move", found.id))
        values = {"end": move.end, "way": move.way, "distance": distance}
        send(Done(ref=request.ref, remarks=[StatusMessage("move-noted", values)]))

    def _with_move(self, finding: str | None, jig: str | None) -> Finding:
        """The latest finding with a move, proposed or not. Raises InvalidRequest."""
        for found in self.service.last:
            named = finding is None or found.id == finding
            if named and (jig is None or found.jig == jig) and found.move is not None:
                return found
        raise InvalidRequest(
            "no recent result asks for a move" + (f" of {jig}" if jig else "")
        )

    def _capture(self, client: Client, send: Send, request: Capture) -> None:
        names = [i.name for i in self.service.bench.instruments]
        name = request.instrument or (names[0] if names else None)
        if name is None:
            raise InvalidRequest(
                "no instrument is set up yet: `sweepgauge learn indicator` finds its"
                " cable"
            )
        if name not in names:
            raise InvalidRequest(
                f"no instrument is called {name!r}; there are:"
                f" {', '.join(names) or 'none'}"
            )
        client.capturing = name if request.on else None
        send(Done(name, request.ref))
