"""What the daemon does when a client asks: one method for each kind of request."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import Mapping
from typing import Protocol

import msgspec

from bench import __version__
from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.daemon.clients import Client
from bench.daemon.device_setup import DeviceSetup
from bench.daemon.outbox import Send
from bench.daemon.station import Bench
from bench.finding import Finding, Unread
from bench.gear import Gear
from bench.log import event_log, history
from bench.log.rows import LogError
from bench.log.writer import LogWriter
from bench.procedure.wrong_use import WrongUse
from bench.protocol import (
    Abandon,
    Asking,
    Begin,
    Capture,
    CheckKind,
    ChecksReply,
    Done,
    Error,
    Extend,
    GearReply,
    GetChecks,
    GetGear,
    GetStatus,
    InstrumentState,
    Learn,
    Live,
    LogEventRows,
    LogEvents,
    LogExport,
    LogList,
    LogOne,
    LogShow,
    LogText,
    Moved,
    NotesSeen,
    Press,
    PutJig,
    PutLeaves,
    PutSaw,
    PutSquare,
    PutUnits,
    Recording,
    Request,
    Saved,
    StatusReply,
    Undo,
    Watch,
)
from bench.render.gear import jig_texts, saw_texts, square_texts
from bench.settings.edit import keep_units
from bench.settings.settings_file import Paths, Settings, SettingsError, add_gear, load
from bench.units import length_words

log = logging.getLogger("sweepgauge")

EXPORT_PIECE = 64 * 1024  # characters of an export in one message
FLUSH = 1.0  # s
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
)
SHORTEST_BEAT, LONGEST_BEAT = 1.0, 60.0  # s


class Answering(Protocol):
    """What of the daemon answers are made from; see bench.daemon.service."""

    settings: Settings
    paths: Paths
    recording: Recording
    notes: list[str]
    notes_told: int
    last: list[Finding]
    beat: tuple[float, float, bool] | None
    log: LogWriter
    bench: Bench
    learner: DeviceSetup

    def tell(self, message: msgspec.Struct) -> None: ...
    def press(self, now: float, *, waits: bool = True) -> bool: ...
    def busy(self) -> str | None: ...
    def new_gear(self, gear: Gear) -> None: ...
    async def rewire(self, settings: Settings) -> None: ...


class Answers:
    def __init__(self, service: Answering) -> None:
        self.service = service

    async def answer(self, client: Client, request: Request) -> None:
        """Whatever is wrong with the request becomes an error message to that client
        alone.

        What only asks is answered at once. Every other answer waits, as all that is
        told does, until the disk has what the request changed and what was changed
        before it.
        """
        ref = request.ref
        send: Send = client.send
        if not isinstance(request, ONLY_ASKS):
            send = self.service.bench.outbox.answers(client.send)
        try:
            await self._answer(client, send, request)
        except (WrongUse, SettingsError) as error:
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
            self._begin(send, request, now)
        elif isinstance(request, Press):
            used = self.service.press(now, waits=request.waits)
            send(Done("taken" if used else "nothing asks for it", ref))
        elif isinstance(request, Undo):
            send(Done(bench.undo(now), ref))
        elif isinstance(request, Abandon):
            words = bench.abandon()
            bench.outbox.tell(Asking(run=None))
            send(Done(words, ref))
        elif isinstance(request, Extend):
            bench.extend(request, now)
            send(Done(f"{request.sweeps} pushes more in every set-up.", ref))
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
                bench.end_live()
            send(Done("live" if request.on else "left", ref))
        elif isinstance(request, GetGear):
            send(self.gear(ref))
        elif isinstance(request, GetChecks):
            send(self.kinds(ref))
        elif isinstance(request, PutJig | PutSaw | PutSquare | PutLeaves):
            await self._put(send, request)
        elif isinstance(request, PutUnits):
            await self._units(send, request)
        elif isinstance(request, LogList | LogShow | LogExport | LogEvents):
            await self._from_log(client, request)
        else:
            raise WrongUse("this daemon cannot do that")

    # ---- the state of things ---------------------------------------------------------

    def status(self, ref: int | None = None) -> StatusReply:
        service = self.service
        run = service.bench.run
        return StatusReply(
            program=f"sweepgauge {__version__}",
            log=str(service.paths.log),
            recording=service.recording.words,
            instruments=[self._with_way(one) for one in service.bench.states()],
            run=run.state() if run is not None else None,
            last=service.last,
            notes=service.notes,
            told=service.notes_told,
            log_state=service.recording.state,
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
            marks=list(gear.travel.marks) if gear.travel.by_marks else [],
            ref=ref,
        )

    def kinds(self, ref: int | None = None) -> ChecksReply:
        bench = self.service.bench
        kinds = []
        for check in checks().values():
            steps = check.plan({}, EvidenceGear())
            why = bench.why_not(check, {}, EvidenceGear())
            kinds.append(
                CheckKind(
                    kind=check.kind,
                    question=check.question,
                    needs=list(check.needs),
                    options=[option for option in check.options if not option.recorded],
                    can=why is None,
                    why_not=why or "",
                    swept=any(step.gather == "sweep" for step in steps),
                    sided=any(step.side is not None for step in steps),
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
            raise WrongUse(
                f"--beat takes {SHORTEST_BEAT:g} to {LONGEST_BEAT:g} s, not"
                f" {request.beat:g}"
            )
        joined = bench.begin(request, now)
        self.service.learner.end()
        if request.beat is not None:
            self.service.beat = (request.beat, now + request.beat, False)
        assert bench.run is not None
        send(bench.run.asking(joined=joined, ref=request.ref))

    def _moved(self, send: Send, request: Moved) -> None:
        service = self.service
        found = self._with_move(request.finding, request.jig)
        assert found.move is not None
        move = found.move
        if request.distance is None and found.proposed is None:
            raise WrongUse(
                "that result is too close to call and named no move: say with"
                " --distance how far it went"
            )
        distance = move.distance if request.distance is None else request.distance
        service.log.move_made(
            f"move-{found.id}", {"distance_mm": distance, "how": request.how}
        )
        service.bench.outbox.tell(Saved("move", found.id))
        gone = length_words(distance, service.settings.units)
        send(Done(f"Noted: the {move.end} end moved {move.way} {gone}.", request.ref))

    def _with_move(self, finding: str | None, jig: str | None) -> Finding:
        """The latest finding with a move, proposed or not. Raises WrongUse."""
        for found in self.service.last:
            named = finding is None or found.id == finding
            if named and (jig is None or found.jig == jig) and found.move is not None:
                return found
        raise WrongUse(
            "no recent result asks for a move" + (f" of {jig}" if jig else "")
        )

    def _capture(self, client: Client, send: Send, request: Capture) -> None:
        names = [i.name for i in self.service.bench.instruments]
        name = request.instrument or (names[0] if names else None)
        if name is None:
            raise WrongUse(
                "no instrument is set up yet: `sweepgauge learn indicator` finds its"
                " cable"
            )
        if name not in names:
            raise WrongUse(
                f"no instrument is called {name!r}; there are:"
                f" {', '.join(names) or 'none'}"
            )
        client.capturing = name if request.on else None
        send(Done(name, request.ref))

    # ---- gear ------------------------------------------------------------------------

    async def _units(self, send: Send, request: PutUnits) -> None:
        """What people see: kept in the settings file, and true at once."""
        service = self.service
        if (why := service.busy()) is not None:
            raise WrongUse(why)
        paths = service.paths
        settings = await asyncio.to_thread(
            keep_units, paths.settings, request.units, gear_path=paths.gear
        )
        await service.rewire(settings)
        words = "Millimetres" if request.units == "mm" else "Inches"
        send(Done(f"{words} from now on; kept in {paths.settings.name}.", request.ref))

    async def _put(
        self, send: Send, request: PutJig | PutSaw | PutSquare | PutLeaves
    ) -> None:
        """Into gear.toml beside the log, checked whole before a byte is written; then
        read again."""
        service = self.service
        if service.bench.run is not None:
            raise WrongUse(
                "a check is in progress; finish it, or end it with `sweepgauge abandon`"
            )
        name: str | None = None
        values: Mapping[str, str | list[str]]
        if isinstance(request, PutJig):
            name, values, kind = request.jig.name, jig_texts(request.jig), "jig"
        elif isinstance(request, PutSaw):
            name, values, kind = request.saw.name, saw_texts(request.saw), "saw"
        elif isinstance(request, PutSquare):
            name, values, kind = (
                request.square.name,
                square_texts(request.square),
                "square",
            )
        else:
            values, kind = (
                {"set": [f"{leaf!r} mm" for leaf in request.leaves]},
                "leaves",
            )
        paths = service.paths

        def write() -> Gear:
            add_gear(paths.gear, kind, name, values, settings_path=paths.settings)  # type: ignore[arg-type]
            return load(paths.settings, paths.gear).gear

        gear = await asyncio.to_thread(write)
        service.new_gear(gear)
        send(Done(f"{name or kind} is kept in {paths.gear}.", request.ref))

    # ---- the log ---------------------------------------------------------------------

    async def _from_log(
        self, client: Client, request: LogList | LogShow | LogExport | LogEvents
    ) -> None:
        path = self.service.paths.log
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
            units = self.service.settings.units
            # events of no check wait for company
            await asyncio.to_thread(self.service.log.flush, FLUSH)
            events = await asyncio.to_thread(
                event_log.events, path, request.most, units
            )
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
        else:
            await self._export(client, request)

    async def _export(self, client: Client, request: LogExport) -> None:
        """No further than the client reads: a slow one only waits for itself."""
        unread: list[Unread] = []
        pieces = history.exported(self.service.paths.log, request.id, unread)
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
