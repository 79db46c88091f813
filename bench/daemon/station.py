"""The measuring half of the daemon: instruments in, the check in progress fed, the log
kept.

Owns no socket.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.checks.model import Check, EvidenceGear, Known
from bench.checks.options import OptionValue
from bench.daemon.acquisition import UNREAD, Batch, Instrument, Role
from bench.daemon.check_controller import CheckController
from bench.daemon.live_host import LiveHost
from bench.daemon.outbox import Outbox
from bench.daemon.raw_bytes import RawBytes
from bench.daemon.sources import Sources
from bench.daemon.wall_clock import WallClock
from bench.finding import Finding
from bench.log.rows import OpenRun, Stamp
from bench.log.writer import LogWriter
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.wrong_use import WrongUse
from bench.protocol import (
    Begin,
    Extend,
    InstrumentState,
    Live,
    Notice,
    Points,
    Readings,
    Rejected,
)
from bench.render.clock import jump_words
from bench.settings.settings_file import PortSettings, Settings
from bench.stream.sweep_detector import Broken, SweepDetector, SweepEvent
from bench.units import length_words
from hw.formats import meaning_of

log = logging.getLogger("sweepgauge")

MOST_REJECTED = 5  # rejected frames told a second and instrument; all are counted
# flags of a display that shows something else than now
HELD = frozenset({"hold", "max", "min", "tir"})
# flags of readings that must not enter a sweep: what that is, and what to do
SPOILS = {
    "hold": (
        "is on hold, maximum or minimum",
        "Switch that off on the gauge; till then nothing counts.",
    ),
    "missed_edge": (
        "has missed an edge: where the sled is, is not known",
        "Push slower.",
    ),
}
WENT = {
    **dict.fromkeys(("absent", "busy", "denied"), "went away"),
    **{"silent": "fell silent", "flooding": "sends more than an instrument does"},
    **dict.fromkeys(UNREAD, "does not read"),
}
TELL_LEAPS = 10.0  # s
TELL_POINTS = 0.1  # s between pieces of the running line


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
        self.instruments: list[Instrument] = []
        self.tell = tell
        self.outbox = Outbox(tell, log_writer, time.monotonic)
        self._tell_readings = tell_readings
        self.sweeper = SweepDetector()
        self.sources = Sources()
        self.checking = CheckController(
            log_writer,
            self.outbox.tell,
            lambda: self.settings,
            known,
            self._at_rest,
            self.instruments,
        )
        self.live = LiveHost(log_writer, self.outbox.tell, lambda: self.settings)
        self._raw = RawBytes(log_writer)
        self._wall = WallClock()
        self._points_due = 0.0
        self._told_rejected: dict[str, float] = {}
        self._told_held: dict[str, float] = {}
        # the flag for which readings cannot be used just now
        self._spoiling: dict[str, str] = {}
        self._unit: dict[str, str] = {}
        self.by_marks = settings.gear.travel.by_marks
        self.watch_raw: Callable[[str, bytes], None] = lambda name, data: None
        for name, role, port in (
            ("indicator", "indicator", settings.indicator),
            ("travel", "travel", settings.travel),
            ("caliper", "caliper", settings.caliper),
        ):
            if port is not None:
                self._add(name, role, port)  # type: ignore[arg-type]

    def _add(self, name: str, role: Role, port: PortSettings) -> None:
        gear = self.settings.gear
        counts = {
            "indicator": gear.indicator.resolution,
            "travel": port.per_count,
            "caliper": gear.caliper.resolution,
        }
        self.instruments.append(
            Instrument(
                *(name, role, port, self._heard, self._changed),
                sources=self.sources,
                count=counts[role] or 0.0,
            )
        )

    @property
    def measuring(self) -> bool:
        """A check, or a move followed live, is in progress."""
        return self.run is not None or self.live.move is not None

    # ---- life ------------------------------------------------------------------------

    def start(self) -> None:
        for instrument in self.instruments:
            instrument.start()

    async def stop(self) -> None:
        self.checking.stop(time.monotonic())
        for instrument in self.instruments:
            await instrument.stop()

    async def rewire(self, settings: Settings) -> None:
        """Other settings from now on: what is wired otherwise than before is let go,
        and opened as they say."""
        self.settings = settings
        self.by_marks = settings.gear.travel.by_marks
        wanted = {
            "indicator": settings.indicator,
            "travel": settings.travel,
            "caliper": settings.caliper,
        }
        leaving = [one for one in self.instruments if wanted[one.name] != one.settings]
        for one in leaving:
            self.instruments.remove(one)
            await one.stop()
        kept = {one.name for one in self.instruments}
        for name, port in wanted.items():
            if port is not None and name not in kept:
                self._add(name, name, port)  # type: ignore[arg-type]
                self.instruments[-1].start()
        self.instruments.sort(key=lambda one: list(wanted).index(one.name))
        self._unit.clear()
        self._happened(self.sweeper.broken("the wiring was changed"), time.monotonic())

    def tick(self, now: float) -> None:
        self._look_at_clock()
        self.live.say()
        for instrument in self.instruments:
            if instrument.tick(now):
                self._went(instrument, "does not read")
        self._happened(self.sweeper.tick(now), now)
        if self.run is not None:
            self.run.tick(now)
            self.checking.after()

    def _look_at_clock(self) -> None:
        if (jump := self._wall.jumped()) is not None:
            words = jump_words(jump)
            self.log.event(None, "clock-jumped", {"seconds": jump})
            self.checking.clock_jumped(words)
            self.tell(
                Notice(
                    "clock",
                    f"{words}; passes and their order are not touched by that, only"
                    " dates.",
                )
            )
            log.warning("%s", words)
        if self._wall.set_now():
            # dates of this boot from before are put right by it
            self.log.event(
                None, "clock", {}, at=Stamp(time.monotonic_ns(), time.time(), True)
            )

    def states(self) -> list[InstrumentState]:
        states = [self._said(instrument) for instrument in self.instruments]
        if self.by_marks:
            marks = self.settings.gear.travel.marks
            words = (
                f"No travel instrument: the sled is stopped at {len(marks)} marks,"
                f" {marks[0]:g} to {marks[-1]:g} mm."
            )
            states.append(InstrumentState("travel", "travel", "marks", words))
        return states

    # ---- what instruments say --------------------------------------------------------

    def _said(self, instrument: Instrument) -> InstrumentState:
        said, flag = instrument.said(), self._spoiling.get(instrument.name, "")
        if not flag or said.state != "open":
            return said
        return msgspec.structs.replace(
            said,
            spoiled=flag,
            words=f"The {said.name} {SPOILS[flag][0]}. {SPOILS[flag][1]}",
        )

    def _changed(self, instrument: Instrument) -> None:
        self.tell(self._said(instrument))
        words = instrument.words
        log.info(
            "%s%s", "" if instrument.name in words else f"{instrument.name}: ", words
        )
        self.log.event(
            None,
            "instrument",
            {
                "name": instrument.name,
                "state": instrument.state,
                "words": instrument.words,
            },
        )
        if (how := WENT.get(instrument.state)) is not None:
            if instrument.state not in UNREAD:
                self._unit.pop(instrument.name, None)
            self._went(instrument, how)

    def _went(self, instrument: Instrument, how: str) -> None:
        """What is being swept cannot be used."""
        if instrument.role == "indicator":
            self.live.lose()
        if instrument.role in {"indicator", "travel"}:
            now = time.monotonic()
            self._happened(self.sweeper.broken(f"the {instrument.name} {how}"), now)
            if self.run is not None and (
                self.run.sweep_id is not None or self.run.facts.rested
            ):
                self.run.interrupt(
                    f"The {instrument.name} {how}; do this pass again.", now
                )

    def _heard(self, instrument: Instrument, batch: Batch) -> None:
        now = batch.when / 1e9
        self.watch_raw(instrument.name, batch.data)
        if batch.rejected:
            self._say_rejected(instrument, batch, now)
        if batch.held:
            self._say_held(instrument, batch, now)
        if batch.values:
            message = Readings(
                instrument.name,
                batch.first,
                batch.stamps,
                batch.values,
                batch.unit,
                sorted(batch.flags),
            )
            self._tell_readings(message, now)
        if instrument.role != "caliper":
            self._raw.keep(
                instrument.name,
                batch,
                self.run.sweep_id if self.run is not None else None,
            )
        if batch.values:
            if self._unit.get(instrument.name) != batch.unit:
                self._check_unit(instrument, batch, now)
            if batch.flags or self._spoiling:
                self._check_flags(instrument, batch, now)
            self._feed(instrument, batch, now)
        if self.run is not None:
            if not self.run.facts.rested:
                self.run.rest(now)
            self.checking.after()

    def _feed(self, instrument: Instrument, batch: Batch, now: float) -> None:
        gear = self.settings.gear
        if instrument.role == "travel":
            values = (
                [-v for v in batch.values] if self._travel_turned() else batch.values
            )
            if happenings := self.sweeper.travel(batch.stamps, values):
                self._happened(happenings, now)
        elif instrument.role == "indicator":
            if self._spoiling.get(instrument.name) == "hold":
                return
            values = (
                batch.values
                if gear.indicator.grows == "pushed-in"
                else [-v for v in batch.values]
            )
            if happenings := self.sweeper.indicator(batch.stamps, values):
                self._happened(happenings, now)
            if self.live.move is not None:
                self.live.readings(batch.stamps, values)
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
        """`toward` says how the scale counts the sled's way; a place along a fence is
        taken as it is shown."""
        step = self.run.step if self.run is not None else None
        along_the_slot = (
            step is None or step.gather != "sweep" or step.mount is not None
        )
        return self.settings.gear.travel.grows == "toward" and along_the_slot

    def _check_unit(self, instrument: Instrument, batch: Batch, now: float) -> None:
        before = self._unit.get(instrument.name)
        self._unit[instrument.name] = batch.unit
        if before is not None and before != batch.unit:
            words = f"the {instrument.name} was switched from {before} to {batch.unit}"
            said = words[0].upper() + words[1:] + "."
            self.tell(Notice(instrument.name, said))
            log.info("%s", said)
            self.log.event(
                None,
                "unit",
                {"name": instrument.name, "from": before, "to": batch.unit},
            )
            self._happened(self.sweeper.broken(words), now)

    def _check_flags(self, instrument: Instrument, batch: Batch, now: float) -> None:
        """Readings that are no readings of the moment: said when it begins and when it
        ends; no sweep has them."""
        name = instrument.name
        flags = {"hold", *batch.flags} if batch.flags & HELD else batch.flags
        spoils = next((flag for flag in SPOILS if flag in flags), None)
        before = self._spoiling.pop(name, None)
        if spoils is not None:
            self._spoiling[name] = spoils
            if instrument.role == "indicator":
                self.live.lose()
            self._happened(self.sweeper.broken(f"the {name} {SPOILS[spoils][0]}"), now)
        if spoils != before:
            state = self._said(instrument)
            said = state.words if spoils is not None else f"The {name} reads again."
            self.tell(state)
            self.tell(Notice(name, said))
            log.info("%s", said)
            self.log.event(None, "spoiled", {"name": name, "words": said})

    def _happened(self, happenings: list[SweepEvent], now: float) -> None:
        for what in happenings:
            if self.run is not None:
                self.run.happening(what, now)
            elif isinstance(what, Broken):
                log.info("%s", what.words)

    def _say_held(self, instrument: Instrument, batch: Batch, now: float) -> None:
        """Well-formed readings off the path of the others; all are counted, the first
        and then one a while is told: a grain of dust under the tip is off it as well,
        and the pass is none the worse for it."""
        if now < self._told_held.get(instrument.name, 0.0):
            return
        self._told_held[instrument.name] = now + TELL_LEAPS
        value, so_far = batch.held[-1][1], instrument.said().held
        shown = length_words(
            value, self.settings.units, 3 if self.settings.units == "mm" else None
        )
        words = (
            f"One reading of the {instrument.name}, {shown}, was not used: it is off"
            " the path of those around it"
            f" ({'dust, a jerk' if instrument.role != 'travel' else 'a jerk'} or a bit"
            f" lost; {so_far} so far)."
        )
        self.tell(Notice(instrument.name, words))
        log.info("%s", words)
        self.log.event(
            None, "held", {"name": instrument.name, "value": value, "held": so_far}
        )

    def stalled(self, now: float) -> bool:
        """A reader hangs: nothing is alive that does not read."""
        return any([instrument.stalled(now) for instrument in self.instruments])

    def _say_rejected(self, instrument: Instrument, batch: Batch, now: float) -> None:
        due = self._told_rejected.get(instrument.name, 0.0)
        if instrument.settings.asking == "button" and not batch.values and now >= due:
            said = batch.rejected[-1][1]
            why = said.fault if said.status is None else meaning_of(said.status)[0]
            self.tell(
                Notice(
                    instrument.name,
                    f"That press of the {instrument.name} gave no reading: {why}. Press"
                    " again.",
                )
            )
        for at, record in batch.rejected:
            if now < due:
                return
            due = now + 1.0 / MOST_REJECTED
            self._told_rejected[instrument.name] = due
            self.tell(
                Rejected(
                    instrument.name, at, record.fault, record.status, record.raw.hex()
                )
            )

    # ---- the check in progress -------------------------------------------------------

    @property
    def run(self) -> CheckProcedure | None:
        return self.checking.run

    @property
    def begun(self) -> Begin | None:
        return self.checking.begun

    def _at_rest(self) -> bool:
        """The sled rests and both instruments are being heard."""
        return self.sweeper.at_rest and all(
            i.state == "open" and i.last is not None
            for i in self.instruments
            if i.role != "caliper"
        )

    def why_not(
        self, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
    ) -> str | None:
        return self.checking.why_not(check, options, gear)

    def begin(self, request: Begin, now: float) -> bool:
        """Begin, or join the same check in progress; True when joined. Raises WrongUse."""
        joined = self.checking.begin(request, now)
        self.live.end()
        return joined

    def extend(self, request: Extend, now: float) -> None:
        self.checking.extend(request, now)

    def take_up(self, left: OpenRun, now: float) -> str:
        return self.checking.take_up(left, now)

    def press(self, now: float, *, waits: bool = True) -> bool:
        """Enter or the pedal goes to whatever goes on."""
        if self.live.move is not None:
            self.live.press()
            return True
        return self.checking.press(now, waits=waits)

    def undo(self, now: float) -> str:
        if self.live.move is not None:
            return self.live.back()
        return self.checking.undo(now)

    def abandon(self) -> str:
        return self.checking.abandon(time.monotonic())

    # ---- the move made live ----------------------------------------------------------

    def start_live(self, request: Live, finding: Finding) -> None:
        """Raises WrongUse where it cannot be."""
        if self.run is not None:
            raise WrongUse(f"{self.run.check.kind} is in progress")
        if not any(i.role == "indicator" for i in self.instruments):
            raise WrongUse(
                "no indicator is set up: name its port in the settings, under"
                " [indicator]"
            )
        self.live.start(request, finding)

    def end_live(self) -> None:
        self.live.end()
