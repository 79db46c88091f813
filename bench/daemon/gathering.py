"""The measuring half of the daemon: instruments in, the check in progress fed, the log kept.

Owns no socket. May import: hw (through feed), bench.log, bench.checks, bench.conclude and its neighbours.
"""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections import deque
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

import msgspec

from bench.checks import UnknownCheck, find
from bench.checks.model import Check, EvidenceError, EvidenceGear, Known, Lean, OptionValue, Trace
from bench.daemon.feed import Batch, Instrument, Role
from bench.daemon.live import LiveMove, NoLive
from bench.daemon.outbox import Outbox
from bench.daemon.run import CheckRun
from bench.daemon.sweeper import Broken, Happening, Sweeper
from bench.finding import Finding
from bench.gear_use import GearUnknown, use
from bench.log.rows import OpenRun
from bench.log.writer import LogWriter
from bench.moves.verify import judge_move
from bench.settings import PortSettings, Settings
from bench.wire import (
    Begin,
    Concluded,
    Extend,
    InstrumentState,
    Live,
    LiveSaid,
    NotConcluded,
    Notice,
    Points,
    Readings,
    Rejected,
)

log = logging.getLogger("sweepgauge")

LOOK_BACK_NS = 1_500_000_000  # raw bytes from before a sweep was seen to begin are part of it
MOST_REJECTED = 5  # rejected frames told a second and instrument; all are counted
TELL_POINTS = 0.1  # s between pieces of the running line


class WrongUse(ValueError):
    """The request cannot be done; the message says why and what would do."""


class Bench:
    """Instruments, sweeper and the check in progress; `tell` speaks to all clients."""

    def __init__(
        self,
        settings: Settings,
        log_writer: LogWriter,
        tell: Callable[[msgspec.Struct], None],
        tell_readings: Callable[[Readings, float], None],
        known: Callable[[EvidenceGear, str, Mapping[str, Any]], Known],
    ) -> None:
        self.settings = settings
        self.log = log_writer
        self.run: CheckRun | None = None
        self.begun: Begin | None = None
        self._finished: CheckRun | None = None  # the latest, which may still be extended
        self._finished_begin: Begin | None = None
        self._finished_as: str | None = None
        self._supersedes: str | None = None
        self.live: LiveMove | None = None
        self._live_said: LiveSaid | None = None
        self.instruments: list[Instrument] = []
        self.tell = tell
        self.outbox = Outbox(tell, time.monotonic)
        self._tell_readings = tell_readings
        self._known = known
        self.sweeper = Sweeper()
        self._back: dict[str, deque[tuple[int, bytes, list[float]]]] = {}
        self._recorded: str | None = None  # the sweep whose look-back was written
        self._points_due = 0.0
        self._told_rejected: dict[str, float] = {}
        self._concluding: asyncio.Task[None] | None = None
        self._unit: dict[str, str] = {}
        self._looking: set[asyncio.Task[None]] = set()
        self.drawn: dict[str, float] = {}  # by jig: mm that tightening drew the tip last time
        self.tickets: dict[int, tuple[str, str]] = {}  # ticket -> what and id, to be told as saved
        self.by_marks = settings.gear.travel.by_marks
        self.find: Callable[[str], Finding | None] = lambda name: None  # a recent finding by its id
        self.watch_raw: Callable[[str, bytes], None] = lambda name, data: None
        for name, role, port in (
            ("indicator", "indicator", settings.indicator),
            ("travel", "travel", settings.travel),
            ("caliper", "caliper", settings.caliper),
        ):
            if port is not None:
                self._add(name, role, port)  # type: ignore[arg-type]

    def _add(self, name: str, role: Role, port: PortSettings) -> None:
        self.instruments.append(Instrument(name, role, port, self._heard, self._changed))
        self._back[name] = deque()

    # ---- life -------------------------------------------------------------------------------------

    def start(self) -> None:
        for instrument in self.instruments:
            instrument.start()

    async def stop(self) -> None:
        if self.run is not None:
            self.run.interrupt("The daemon was ended.", time.monotonic())
        if self._concluding is not None:
            self._concluding.cancel()
        for instrument in self.instruments:
            await instrument.stop()

    def tick(self, now: float) -> None:
        self.outbox.release()
        self._say_live()
        for instrument in self.instruments:
            instrument.tick(now)
        self._happened(self.sweeper.tick(now), now)
        if self.run is not None:
            self.run.tick(now)
            self._after(now)

    def states(self) -> list[InstrumentState]:
        states = [instrument.said() for instrument in self.instruments]
        if self.by_marks:
            marks = self.settings.gear.travel.marks
            words = f"No travel instrument: the sled is stopped at {len(marks)} marks, {marks[0]:g} to {marks[-1]:g} mm."
            states.append(InstrumentState("travel", "travel", "marks", words))
        return states

    # ---- what instruments say -----------------------------------------------------------------------

    def _changed(self, instrument: Instrument) -> None:
        self.tell(instrument.said())
        self.log.event(
            None,
            "instrument",
            {"name": instrument.name, "state": instrument.state, "words": instrument.words},
        )
        if instrument.state in {"absent", "busy", "denied", "silent"}:
            self._unit.pop(instrument.name, None)
            if instrument.role in {"indicator", "travel"}:
                now = time.monotonic()
                self._happened(self.sweeper.broken(f"the {instrument.name} went away"), now)
                if self.run is not None and self.run.sweep_id is not None:
                    self.run.interrupt(f"The {instrument.name} went away; do this pass again.", now)

    def _heard(self, instrument: Instrument, batch: Batch) -> None:
        now = batch.when / 1e9
        self.watch_raw(instrument.name, batch.data)
        if batch.rejected:
            self._say_rejected(instrument, batch, now)
        if batch.values:
            message = Readings(
                instrument.name, batch.first, batch.stamps, batch.values, batch.unit, sorted(batch.flags)
            )
            self._tell_readings(message, now)
        self._keep_raw(instrument, batch)
        if batch.values:
            self._check_unit(instrument, batch, now)
            self._feed(instrument, batch, now)
        if self.run is not None and not self.run.facts.rested:
            self.run.rest(now)
        self._after(now)

    def _feed(self, instrument: Instrument, batch: Batch, now: float) -> None:
        gear = self.settings.gear
        if instrument.role == "travel":
            values = [-v for v in batch.values] if self._travel_turned() else batch.values
            self._happened(self.sweeper.travel(batch.stamps, values), now)
        elif instrument.role == "indicator":
            if "hold" in batch.flags:
                self._happened(self.sweeper.broken("the indicator is on hold, maximum or minimum"), now)
                return
            values = batch.values if gear.indicator.grows == "pushed-in" else [-v for v in batch.values]
            self._happened(self.sweeper.indicator(batch.stamps, values), now)
            if self.live is not None:
                self.live.readings(values)
            elif self.run is not None and self.run.ask.gather != "width":
                self.run.readings(batch.stamps, values, now)
        elif self.run is not None and self.run.ask.gather == "width":
            self.run.readings(batch.stamps, batch.values, now)
        if self.run is not None and now >= self._points_due:
            self._points_due = now + TELL_POINTS
            travel, reading = self.sweeper.fresh()
            if travel and self.run.sweep_id is not None:
                self.tell(Points(self.run.sweep_id, travel, reading))

    def _travel_turned(self) -> bool:
        """`toward` says how the scale counts the sled's way; a place along a fence is taken as it is shown."""
        step = self.run.step if self.run is not None else None
        along_the_slot = step is None or step.gather != "sweep" or step.mount is not None
        return self.settings.gear.travel.grows == "toward" and along_the_slot

    def _check_unit(self, instrument: Instrument, batch: Batch, now: float) -> None:
        before = self._unit.get(instrument.name)
        self._unit[instrument.name] = batch.unit
        if before is not None and before != batch.unit:
            words = f"the {instrument.name} was switched from {before} to {batch.unit}"
            self.tell(Notice(instrument.name, words[0].upper() + words[1:] + "."))
            self.log.event(None, "unit", {"name": instrument.name, "from": before, "to": batch.unit})
            self._happened(self.sweeper.broken(words), now)

    def _happened(self, happenings: list[Happening], now: float) -> None:
        for what in happenings:
            if self.run is not None:
                self.run.happening(what, now)
            elif isinstance(what, Broken):
                log.info("%s", what.words)

    def _say_rejected(self, instrument: Instrument, batch: Batch, now: float) -> None:
        due = self._told_rejected.get(instrument.name, 0.0)
        for at, record in batch.rejected:
            if now < due:
                return
            due = now + 1.0 / MOST_REJECTED
            self._told_rejected[instrument.name] = due
            self.tell(Rejected(instrument.name, at, record.fault, record.status, record.raw.hex()))

    # ---- raw bytes ----------------------------------------------------------------------------------

    def _keep_raw(self, instrument: Instrument, batch: Batch) -> None:
        if instrument.role == "caliper":
            return
        sweep = self.run.sweep_id if self.run is not None else None
        if sweep is None:
            self._recorded = None
            back = self._back[instrument.name]
            back.append((batch.when, batch.data, batch.stamps))
            while back and back[0][0] < batch.when - LOOK_BACK_NS:
                back.popleft()
            return
        if sweep != self._recorded:
            self._recorded = sweep
            for name, back in self._back.items():
                for _, data, stamps in back:
                    self.log.chunk(sweep, name, data, [int(t * 1e9) for t in stamps])
                back.clear()
        self.log.chunk(sweep, instrument.name, batch.data, [int(t * 1e9) for t in batch.stamps])

    # ---- the journal of a run (see run.Journal) -------------------------------------------------------

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None:
        ticket = self.outbox.act(self.log.event(run_id, kind, data))
        if kind == "acknowledged":
            self.tickets[ticket] = ("event", run_id)

    def start_sweep(
        self, run_id: str, sweep_id: str, placement: str, seat: str | None, hold: str | None
    ) -> None:
        wires = {
            i.name: {"format": i.settings.format, "profile": i.settings.profile, **i.settings.options}
            for i in self.instruments
        }
        self.outbox.act(self.log.start_sweep(sweep_id, run_id, placement, seat=seat, hold=hold, wires=wires))

    def end_sweep(
        self, sweep_id: str, state: str, *, push: bool | None, trace: Trace | None, reason: str | None
    ) -> None:
        self.outbox.act(
            self.log.end_sweep(sweep_id, state, push=push, trace=trace, reason=reason)  # type: ignore[arg-type]
        )

    def kept(self, trace: Trace, *, straight: bool) -> None:
        """Let the arithmetic look at a kept pass meanwhile, so that the screen can show what it set aside."""
        task = asyncio.get_running_loop().create_task(self._look_at(trace, straight))
        self._looking.add(task)
        task.add_done_callback(self._looking.discard)

    async def _look_at(self, trace: Trace, straight: bool) -> None:
        from bench.daemon.working import look_at

        try:
            fitted = await asyncio.to_thread(look_at, trace, self.settings.gear.indicator.resolution)
        except Exception:
            # only a picture hangs on it; the finding is worked out on its own
            log.exception("looking at %s", trace.sweep)
            return
        run = self.run
        if run is not None and straight and fitted.words and trace in run.traces:
            # better told now, while the sled is at hand, than when all is done
            run.refuse_kept(trace, fitted.words, time.monotonic())
            return
        if run is not None:
            run.passes.append(fitted)
        self.tell(fitted)

    def undo_sweep(self, sweep_id: str, reason: str) -> None:
        self.outbox.act(self.log.undo_sweep(sweep_id, reason))

    # ---- checks -------------------------------------------------------------------------------------

    def gear_for(self, begin: Begin) -> EvidenceGear:
        """What this check uses of the user's gear. Raises WrongUse naming what there is."""
        try:
            return use(self.settings.gear, jig=begin.jig, saw=begin.saw, square=begin.square)
        except GearUnknown as error:
            raise WrongUse(str(error)) from error

    def why_not(self, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear) -> str | None:
        """Why a check cannot be taken with what is wired; None when it can."""
        widths = any(s.gather == "width" for s in check.plan(options, gear))
        wanted = "caliper" if widths else "indicator"
        if any(i.role == wanted for i in self.instruments):
            return None
        return f"no {wanted} is set up: name its port in the settings, under [{wanted}]"

    def extend(self, request: Extend, now: float) -> None:
        """Go on with the latest check after all: more pushes in every set-up, then a later, stricter look."""
        run = self._finished
        if self.run is not None:
            raise WrongUse(f"{self.run.check.kind} is in progress")
        if run is None or (request.finding is not None and request.finding != self._finished_as):
            raise WrongUse("only the latest check, since the daemon started, can be gone on with")
        if not 1 <= request.sweeps <= 50:
            raise WrongUse(f"1 to 50 pushes more, not {request.sweeps}")
        self.run, self.begun, self._supersedes = run, self._finished_begin, self._finished_as
        self.log.reopen(run.id)
        run.extend(request.sweeps, now)

    def begin(self, request: Begin, now: float) -> bool:
        """Begin, or join the same check in progress; True when joined. Raises WrongUse."""
        if self.run is not None:
            if self.begun is not None and same(self.begun, request):
                return True
            raise WrongUse(
                f"{self.run.check.kind} is in progress ({self.run.ask.words}); finish it, or end it with "
                f"`sweepgauge abandon`"
            )
        try:
            find(request.check)
        except UnknownCheck as error:
            raise WrongUse(str(error)) from error
        if not 1 <= request.sweeps <= 50:
            raise WrongUse(f"--sweeps takes 1 to 50 pushes a set-up, not {request.sweeps}")
        gear = self.gear_for(request)
        why = self.why_not(find(request.check), request.options, gear)
        if why is not None:
            raise WrongUse(why)
        self.end_live()
        run_id = uuid.uuid4().hex[:12]
        run = self._make_run(run_id, request, gear)
        self._supersedes = None
        indicator = self.settings.indicator
        ticket = self.log.begin_check(
            run_id,
            request.check,
            jig=gear.jig.name if gear.jig else None,
            saw=gear.saw.name if gear.saw else None,
            options=request.options,
            gear=gear,
            instrument=indicator.port if indicator is not None else None,
            hold=str(request.options["hold"]) if request.options.get("hold") else None,
        )
        self.tickets[ticket] = ("check", run_id)
        self.event(run_id, "asked-for", msgspec.to_builtins(request))
        run.settle_down(now)
        log.info("check %s begins: %s", run_id, request.check)
        return False

    def _make_run(self, run_id: str, request: Begin, gear: EvidenceGear) -> CheckRun:
        marks = self.settings.gear.travel.marks if self.by_marks else ()
        self.begun = request
        run = self.run = CheckRun(
            run_id,
            find(request.check),
            request.options,
            gear,
            sweeps=request.sweeps,
            lean=request.lean,
            marks=marks,
            journal=self,
            tell=self.outbox.tell,
            at_rest=self._at_rest,
            verifies=request.verifies,
        )
        return run

    def _at_rest(self) -> bool:
        """The sled rests and both instruments are being heard."""
        return self.sweeper.at_rest and all(
            i.state == "open" and i.last is not None for i in self.instruments if i.role != "caliper"
        )

    def take_up(self, left: OpenRun, now: float) -> str:
        """Go on with a check that the last life left; says so in a sentence."""
        begun = next((e.data for e in left.events if e.kind == "asked-for"), None)
        try:
            request = msgspec.convert(begun, Begin)
            run = self._make_run(left.run, request, self.gear_for(request))
        except (msgspec.ValidationError, WrongUse, UnknownCheck) as error:
            self.log.abandon(left.run, f"could not be taken up again: {error}")
            return f"The {left.check} begun before could not be taken up again ({error})."
        leans = [
            Lean(str(e.data["placement"]), float(str(e.data["left"])), float(str(e.data["right"])))
            for e in left.events
            if e.kind == "lean"
        ]
        run.resume(
            acknowledged=any(e.kind == "acknowledged" for e in left.events),
            traces=[s.trace for s in left.sweeps if s.state == "whole" and s.trace is not None],
            leans=leans,
            now=now,
        )
        kept = sum(1 for t in run.traces if t.push)
        return f"The {left.check} begun before goes on: {kept} passes kept; the set-up is asked again."

    # ---- the move made live -----------------------------------------------------------------------

    def start_live(self, request: Live, finding: Finding) -> None:
        """Raises WrongUse where it cannot be."""
        jig = self.settings.gear.jigs.get(finding.jig or "")
        if self.run is not None:
            raise WrongUse(f"{self.run.check.kind} is in progress")
        if jig is None:
            raise WrongUse("the move needs a sled that is in the settings")
        if not any(i.role == "indicator" for i in self.instruments):
            raise WrongUse("no indicator is set up: name its port in the settings, under [indicator]")
        count = self.settings.gear.indicator.resolution or 0.001
        try:
            self.live = LiveMove(
                request, finding, jig, count, self.settings.units, self._drawn_last(jig.name)
            )
        except NoLive as error:
            raise WrongUse(str(error)) from error
        self.log.event(None, "live-begun", {"finding": finding.id, "jig": jig.name})
        self._live_said = None
        self._say_live()

    def _drawn_last(self, jig: str) -> float:
        return self.drawn.get(jig, 0.0)

    def end_live(self) -> None:
        if self.live is not None:
            self.tell(LiveSaid(on=False, phase="end", words="The live move is left."))
        self.live = None

    def _press_live(self) -> None:
        live = self.live
        assert live is not None
        live.press()
        self._say_live()
        if live.phase != "end":
            return
        found = live.finding
        if live.drawn_at_end is not None:
            self.drawn[live.jig.name] = live.drawn_at_end
        ticket = self.log.move_made(
            f"move-{found.id}",
            {"distance_mm": live.gone, "how": "live", "drew_mm": live.drawn_at_end, "jig": live.jig.name},
        )
        self.tickets[ticket] = ("move", found.id)
        self.live = None

    def _say_live(self) -> None:
        """At most once a tick, when something changed."""
        if self.live is not None:
            said = self.live.said()
            if said != self._live_said:
                self._live_said = said
                self.tell(said)

    def press(self, now: float, *, waits: bool = True) -> bool:
        if self.live is not None:
            self._press_live()
            return True
        if self.run is None:
            return False
        used = self.run.press(now, waits=waits)
        self._after(now)
        return used

    def undo(self, now: float) -> str:
        if self.run is None:
            raise WrongUse("no check is in progress")
        return self.run.undo(now)

    def abandon(self) -> str:
        if self.run is None:
            raise WrongUse("no check is in progress")
        run, self.run, self.begun = self.run, None, None
        run.interrupt("The check was given up.", time.monotonic())
        self.log.abandon(run.id, "by hand")
        return f"{run.check.kind} is given up; what was measured stays in the log."

    def _after(self, now: float) -> None:
        """When nothing is lacking any more, work it out; readings go on meanwhile."""
        run = self.run
        if run is not None and run.complete and not run.facts.worked_out and self._concluding is None:
            self._concluding = asyncio.get_running_loop().create_task(self._conclude(run))

    async def _conclude(self, run: CheckRun) -> None:
        from bench.daemon.working import work_out  # brings numpy; loaded in the background after start

        try:
            if self._looking:
                await asyncio.gather(*self._looking, return_exceptions=True)
            if not run.complete:
                return  # a pass was refused after all: it is asked again
            evidence = run.evidence()
            known = self._known(run.gear, run.check.kind, run.options)
            known = msgspec.structs.replace(known, looks=run.looks)
            evidence = msgspec.structs.replace(evidence, known=known)
            stamp = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
            finding = await asyncio.to_thread(
                work_out, evidence, uuid.uuid4().hex[:12], stamp, self.settings.units
            )
        except EvidenceError as error:
            self._not_concluded(run, str(error))
        except Exception as error:
            # whatever the arithmetic stumbled over, the readings are in the log and the daemon goes on
            log.exception("working out %s", run.id)
            self._not_concluded(run, f"it could not be worked out ({type(error).__name__}: {error})")
        else:
            self._concluded(run, finding, evidence)
        finally:
            self._concluding = None

    def _concluded(self, run: CheckRun, finding: Finding, evidence: Any) -> None:
        if self.run is not run:
            return
        finding = self._verified(finding)
        ticket = self.outbox.act(self.log.finding(run.id, finding, evidence, supersedes=self._supersedes))
        self.tickets[ticket] = ("finding", finding.id)
        if finding.move is not None:
            self.outbox.act(self.log.move_planned(f"move-{finding.id}", finding.id, finding.move))
        if self.begun is not None and self.begun.verifies:
            self.log.move_verified(f"move-{self.begun.verifies}", finding.id)
        self._finished, self._finished_begin, self._finished_as = run, self.begun, finding.id
        self.run, self.begun, self._supersedes = None, None, None
        self.outbox.tell(Concluded(run.id, finding))

    def _verified(self, finding: Finding) -> Finding:
        """Where this check verifies a move, say first what went wrong with it, if anything did."""
        wanted = self.begun.verifies if self.begun is not None else None
        before = self.find(wanted) if wanted else None
        if before is None or (words := judge_move(before, finding)) is None:
            return finding
        note = f"The move: {words}" if words.endswith("?") else f"The move: {words}."
        return msgspec.structs.replace(finding, notes=[note, *finding.notes])

    def _not_concluded(self, run: CheckRun, why: str) -> None:
        if self.run is run:
            self.run, self.begun = None, None
        self.log.abandon(run.id, why)
        self.tell(NotConcluded(run.id, f"No result: {why.rstrip('.')}."))


def same(a: Begin, b: Begin) -> bool:
    """The same check on the same thing: `ref` and the beat may differ."""
    plain = {"ref": None, "beat": None}
    return bool(msgspec.structs.replace(a, **plain) == msgspec.structs.replace(b, **plain))
