"""The station: instruments, sweep detector and the check in progress, wired together.

Each block of readings goes to the clients, the log and whatever the present phase
needs. Owns no socket.
"""

from __future__ import annotations

import logging
import time

from bench.daemon.acquisition import Batch, Instrument
from bench.daemon.check_controller import CheckController
from bench.daemon.clients import Clients
from bench.daemon.instrument_health import UNREADABLE_STATES
from bench.daemon.live_move_controller import LiveMoveController
from bench.daemon.machine import WallClock
from bench.daemon.reading_diagnostics import ReadingDiagnostics
from bench.daemon.shared_state import SharedState
from bench.daemon.wired_instruments import WiredInstruments
from bench.finding import Finding
from bench.log.rows import now as stamp_now
from bench.log.write_queue import SweepBytes
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import (
    Begin,
    InstrumentState,
    LiveMoveRequest,
    Points,
    Readings,
    notice,
)
from bench.render.notices import text
from bench.settings.settings_file import Role, Settings
from bench.stream.sweep_detector import MovementEvent, MovementFault, SweepDetector

log = logging.getLogger("sweepgauge")

# states of an instrument in which nothing can be swept: what the pass is told
UNUSABLE = {
    **dict.fromkeys(("absent", "busy", "denied"), "away"),
    **{"silent": "silent", "flooding": "flooding"},
    **dict.fromkeys(UNREADABLE_STATES, "unread"),
}
# the instrument that a check reads, by what it gathers; else the indicator
READ_BY: dict[str | None, Role] = {"width": "caliper"}
POINTS_EVERY_S = 0.1  # s between two pieces of the running pass for clients


class Station:
    """One for the daemon's life."""

    def __init__(self, shared: SharedState, clients: Clients) -> None:
        self.shared, self.clients = shared, clients
        self.wired = WiredInstruments(shared.settings, self._on_batch, self._on_state)
        self.detector = SweepDetector()
        self.controller = CheckController(shared, self.at_rest)
        self.live = LiveMoveController(shared)
        self._raw = SweepBytes(shared.log.queue)
        self._wall = WallClock()
        self._points_due = 0.0
        # stamps and values that the check is not given before the next tick or event
        self._watched: tuple[list[float], list[float]] = ([], [])
        self._diagnostics = ReadingDiagnostics(shared, self.break_sweep)
        self._state: dict[str, str] = {}  # of each instrument, as the log has it last

    @property
    def run(self) -> CheckProcedure | None:
        session = self.controller.session  # asked for each block: no further file
        return session.run if session is not None else None

    @property
    def measuring(self) -> bool:
        """A check, or a move followed live, is in progress."""
        return self.run is not None or self.live.move is not None

    # ---- life ------------------------------------------------------------------------

    async def stop(self) -> None:
        if self.controller.session is not None:
            self.controller.session.stop(time.monotonic())
        await self.wired.stop()

    async def rewire(self, settings: Settings) -> None:
        """Use other settings: what is wired differently is opened anew."""
        self.shared.settings = settings
        await self.wired.rewire(settings)
        self._diagnostics.units.clear()
        self.break_sweep("wiring", time.monotonic())

    def tick(self, now: float) -> None:
        self._check_clock()
        self.live.say()
        for instrument in self.wired.all:
            if instrument.tick(now):
                self._lose(instrument, "unread")
        self._take_events(self.detector.tick(now), now)
        self._feed_watched(now)
        self.controller.tick(now)

    def _check_clock(self) -> None:
        if (jump := self._wall.jumped()) is not None:
            values = {"seconds": jump}
            self.shared.log.event(None, "clock-jumped", values)
            if self.controller.session is not None:
                self.controller.session.clock_jumped(jump)
            jumped = status("clock-jumped", **values)
            self.shared.tell(notice("clock", jumped))
            log.warning("%s", text([jumped]))
        if self._wall.set_now():
            # It corrects the earlier dates of this boot.
            self.shared.log.event(None, "clock", {}, at=stamp_now(synced=True))

    def states(self) -> list[InstrumentState]:
        states = [self._diagnostics.state(one) for one in self.wired.all]
        if self.shared.settings.gear.travel.by_marks:
            marks = self.shared.settings.gear.travel.marks
            values = {"count": len(marks), "first": marks[0], "last": marks[-1]}
            remarks = [status("travel-by-marks", **values)]
            states.append(InstrumentState("travel", "travel", "marks", remarks=remarks))
        return states

    # ---- what instruments say --------------------------------------------------------

    def _on_state(self, instrument: Instrument) -> None:
        self.shared.tell(self._diagnostics.state(instrument))
        remark = instrument.remark
        log.info("%s (%s)", text([remark]), instrument.settings.port or "pins")
        event = {
            **{"state": instrument.state, "code": remark.code, **remark.values},
            "before": self._state.get(instrument.name, ""),
        }
        self.shared.log.event(None, "instrument", event)
        self._state[instrument.name] = instrument.state
        if (how := UNUSABLE.get(instrument.state)) is not None:
            if instrument.state not in UNREADABLE_STATES:
                self._diagnostics.units.pop(instrument.name, None)
            self._lose(instrument, how)

    def _lose(self, instrument: Instrument, how: str) -> None:
        """Break the sweep under way, which cannot be used; `how`: the code of what
        happened to the instrument."""
        if instrument.name == "indicator":
            self.live.lose()
        if instrument.name in {"indicator", "travel"}:
            now = time.monotonic()
            self.break_sweep(how, now, name=instrument.name)
            if self.run is not None:
                # a silent instrument is no trouble of the sled, however long
                self.run.liveness.start_waiting()
            if self.run is not None and (
                self.run.passes.sweep_id is not None or self.run.facts.rested
            ):
                why = status("pass-interrupted", name=instrument.name, how=how)
                self.run.interrupt(why, now)

    def _on_batch(self, instrument: Instrument, batch: Batch) -> None:
        """Take one block of readings; only the parts that the present phase needs are
        woken."""
        now = batch.when / 1e9
        run = self.run
        self.clients.tell_raw(instrument.name, batch.data)
        if batch.rejected_frames:
            self._diagnostics.tell_rejected(instrument, batch, now)
        if batch.outliers:
            self._diagnostics.tell_outlier(instrument, batch.outliers[-1][1], now)
        if batch.values:
            self._tell_readings(instrument, batch, now)
        if instrument.name != "caliper":
            sweep = run.passes.sweep_id if run is not None else None
            self._raw.keep(instrument.name, batch.when, batch.data, batch.came, sweep)
        if batch.values:
            self._check(instrument, batch, now)
            self._feed(instrument, batch, now)
        if run is not None and run.facts.placed and not run.facts.rested:
            run.rest(now)

    def _tell_readings(self, instrument: Instrument, batch: Batch, now: float) -> None:
        what, flags = (batch.stamps, batch.values, batch.unit), sorted(batch.flags)
        message = Readings(instrument.name, batch.first, *what, flags)
        self.clients.tell_readings(message, now)
        if self.wired.on_readings is not None:
            self.wired.on_readings(message)

    def _check(self, instrument: Instrument, batch: Batch, now: float) -> None:
        diagnostics = self._diagnostics
        if diagnostics.units.get(instrument.name) != batch.unit:
            diagnostics.check_unit(instrument, batch.unit, now)
        if (
            (batch.flags or diagnostics.spoiling)
            and diagnostics.check_flags(instrument, batch.flags, now)
            and instrument.name == "indicator"
        ):
            self.live.lose()

    def _feed(self, instrument: Instrument, batch: Batch, now: float) -> None:
        role, run, times = instrument.name, self.run, batch.stamps
        if role == "indicator" and self._diagnostics.spoiling.get(role) == "hold":
            return
        values = [-v for v in batch.values] if self._turned(role) else batch.values
        if role != "caliper":
            detector = self.detector
            take = detector.travel if role == "travel" else detector.indicator
            if events := take(times, values):
                self._take_events(events, now)
        if role == "indicator" and self.live.move is not None:
            self.live.move.readings(times, values)
        elif run is not None and role == READ_BY.get(run.prompt.gather, "indicator"):
            self._feed_run(run, times, values, now)
        sweep = run.passes.sweep_id if run is not None else None
        if sweep is not None and now >= self._points_due:
            self._points_due = now + POINTS_EVERY_S
            travel, reading = self.detector.fresh()
            if travel:
                self.clients.tell(Points(sweep, travel, reading))

    def _turned(self, role: str) -> bool:
        """Whether the instrument's values are negated. `toward` is how the scale counts
        along the slot; a place along a fence is taken as it is shown."""
        gear, run = self.shared.settings.gear, self.run
        if role != "travel":
            return role == "indicator" and gear.indicator.grows == "pulled-out"
        along_the_slot = True
        if run is not None and run.facts.step < len(run.steps):
            step = run.steps[run.facts.step]
            along_the_slot = step.gather != "sweep" or step.mount is not None
        return gear.travel.grows == "toward" and along_the_slot

    def _feed_run(
        self, run: CheckProcedure, times: list[float], values: list[float], now: float
    ) -> None:
        """Give readings to the check. In the sweep phase it only watches whether the
        number lives, so they are gathered until the next tick or event."""
        if run.prompt.phase == "sweep":
            self._watched[0].extend(times)
            self._watched[1].extend(values)
            return
        self._feed_watched(now)
        run.readings(times, values, now)

    def _feed_watched(self, now: float) -> None:
        """Give the check what was gathered, before any other event reaches it."""
        (times, values), self._watched = self._watched, ([], [])
        if times and self.run is not None:
            self.run.readings(times, values, now)

    def break_sweep(self, code: str, now: float, **values: object) -> None:
        self._take_events(self.detector.broken(code, **values), now)

    def _take_events(self, events: list[MovementEvent], now: float) -> None:
        self._feed_watched(now)
        for event in events:
            if self.run is not None:
                self.run.sweep_event(event, now)
            elif isinstance(event, MovementFault):
                log.info("a movement was broken: %s", event.code)

    def stalled(self, now: float) -> bool:
        """Whether any port has bytes that nobody reads."""
        return any([instrument.stalled(now) for instrument in self.wired.all])

    # ---- what is asked of the check and of the live move -----------------------------

    def at_rest(self) -> bool:
        """Whether the sled rests while both instruments send readings."""
        return self.detector.at_rest and all(
            i.state == "open" and i.last is not None
            for i in self.wired.all
            if i.name != "caliper"
        )

    def begin(self, request: Begin, now: float) -> bool:
        """Begin a check, or join the same one in progress: True. Raises
        InvalidRequest."""
        self._feed_watched(now)
        joined = self.controller.begin(request, now)
        self.live.end()
        return joined

    def press(self, now: float, *, waits: bool = True) -> bool:
        """Pass Enter or the pedal on to the live move, or else to the check."""
        if self.live.move is not None:
            self.live.press()
            return True
        return self.controller.press(now, waits=waits)

    def undo(self, now: float) -> StatusMessage:
        if self.live.move is not None:
            return self.live.undo()
        self._feed_watched(now)
        return self.controller.in_progress().run.undo(now)

    def abandon(self, now: float) -> StatusMessage:
        self._feed_watched(now)
        return self.controller.abandon(now)

    def start_live(self, request: LiveMoveRequest, finding: Finding) -> None:
        """Raises InvalidRequest where it cannot be."""
        if self.run is not None:
            raise InvalidRequest(f"{self.run.check.kind} is in progress")
        self.live.start(request, finding)
