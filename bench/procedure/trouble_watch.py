"""Tells once each what readings and passes show against themselves.

Holds no port and no socket.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.checks.shared.doubts import LIVE_COUNTS
from bench.finding import Doubt
from bench.procedure.journal import Reporter
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import StatusMessage, status

MOST_SHOWN = 300  # different readings from which the instrument's grid is known
# counts that the indicator moves by when a surface walks past it
LEAST_MOVED_COUNTS = 5.0
# s that it does so before the travel is asked about: a quick pass has begun by then
MOVES_FOR_S = 3.0
# s without travel since "ready": the first pass of a set-up takes about ten, later ones
# are seated anew before
STOOD_FOR_S, SEATED_FOR_S = 12.0, 40.0  # common practice, no source
# s without rest since the set-up stands, and since a pass began
NO_REST_S, NO_END_S = 8.0, 16.0
NOT_AT_REST = "sled-not-at-rest"  # what is told then
PLUNGER_MOST_MM = 30.0  # mm: more than a plunger is pushed by hand, less than any pass


class LivenessMonitor:
    """Watches, for one check, which numbers the instrument showed, how far they moved
    since the set-up stands, and, while a pass is waited for, whether the travel moves
    as well."""

    def __init__(self) -> None:
        self.alive: list[str] = []
        self.shown: set[float] = set()
        self.restart("")

    def restart(self, placement: str | None = None) -> None:
        """Forget what moved before, which proves nothing of what comes: a set-up was
        put up anew, or (None) a spot was taken."""
        self._low, self._high = inf, -inf
        self.alive = [name for name in self.alive if name != placement]
        self.start_waiting(passed=placement is None)

    def take(self, values: Sequence[float], placement: str, count: float) -> bool:
        """Take in readings; True when the set-up is seen to live, the first time."""
        if len(self.shown) < MOST_SHOWN:
            self.shown.update(round(v, 9) for v in values)
        self._low, self._high = min(self._low, *values), max(self._high, *values)
        moved = self._high - self._low >= LIVE_COUNTS * count - 1e-9
        if not moved or not placement or placement in self.alive:
            return False
        self.alive.append(placement)
        return True

    def start_waiting(self, *, passed: bool = False) -> None:
        """A pass is waited for from now on. passed: one has begun in this set-up, so
        the travel is read."""
        self._since: float | None = None
        self._moved: float | None = None
        self._least = self._most = 0.0
        self._told = 0  # the gravest told so far
        self._passed = passed
        self._began = 0.0

    def take_waiting(
        self, values: Sequence[float], now: float, count: float, *, moving: bool
    ) -> None:
        """Take in what the indicator showed while a pass is waited for."""
        least, most = min(values), max(values)
        if self._since is None:
            self._since, self._least, self._most = now, least, most
        if moving:  # its own way through a pass says nothing of the travel
            return
        self._least, self._most = min(self._least, least), max(self._most, most)
        moved = self._most - self._least >= LEAST_MOVED_COUNTS * count - 1e-9
        if moved and self._moved is None:
            self._moved = now

    def begin(self, now: float) -> None:
        """Note that the travel moves."""
        self._began = now

    def end(self, *, passed: bool) -> None:
        """Note that the travel stands again; passed: that was a pass, and not handling
        or a scale that wanders."""
        self._moved = None
        if passed:
            self.start_waiting(passed=True)

    def trouble(self, now: float, *, ready: bool, moving: bool) -> StatusMessage | None:
        """The message of what is wrong with the travel, as far as can be seen; None
        where it was told or nothing is wrong."""
        if self._since is None:
            return None
        if self._most - self._least > PLUNGER_MOST_MM:
            return self._once(3, status("cables-swapped"))
        if moving or not ready:
            lasted = now - (self._began if moving else self._since)
            if lasted > (NO_END_S if moving else NO_REST_S):
                return self._once(1, status(NOT_AT_REST))
            return None
        # once a pass was seen, a number that moves may be the square that is seated
        # anew
        moved_for = 0.0 if self._moved is None else now - self._moved
        if moved_for > MOVES_FOR_S and not self._passed:
            return self._once(2, status("travel-stuck"))
        patience = SEATED_FOR_S if self._passed else STOOD_FOR_S
        return (
            self._once(1, status("no-travel")) if now - self._since > patience else None
        )

    def _once(self, rank: int, remark: StatusMessage) -> StatusMessage | None:
        if self._told >= rank:
            return None
        self._told = rank
        return remark


class TroubleWatch:
    """Tells troubles and doubts; each stays beside the prompt until the next pass
    begins.

    Each method that may change the prompt says whether it did.
    """

    def __init__(
        self,
        facts: ProcedureState,
        passes: AcceptedPasses,
        life: LivenessMonitor,
        report: Reporter,
    ) -> None:
        self._facts, self._passes = facts, passes
        self._life, self._report = life, report
        # by what makes one doubt the same as another
        self._doubts: dict[Any, Doubt] = {}

    def tell(self, remark: StatusMessage) -> None:
        self._facts.remark = remark
        self._report.notify("doubt", remark, "warning")

    def new_doubts(
        self, found: Mapping[Any, Doubt]
    ) -> list[tuple[StatusMessage, Trace | None]]:
        """The messages of doubts that were not there before, each with the pass in
        which the number stood still, where it is that doubt; `found` are all there are
        now."""
        fresh = [doubt for key, doubt in found.items() if key not in self._doubts]
        self._doubts = dict(found)
        return [
            (status("doubt", **msgspec.to_builtins(doubt)), self._stood(doubt))
            for doubt in fresh
        ]

    def _stood(self, doubt: Doubt) -> Trace | None:
        traces = self._passes.traces if doubt.code == "stood" else []
        for trace in traces:
            if trace.sweep == doubt.sweep:
                self._life.restart(trace.placement)
                return trace
        return None

    def readings(
        self, values: Sequence[float], ask: Prompt, count: float, now: float
    ) -> bool:
        """New readings of the set-up, mm. count: the instrument's, mm."""
        if not values:
            return False
        if ask.phase == "sweep":
            self._life.take_waiting(values, now, count, moving=ask.moving)
        placement = self._passes.placement
        there = self._facts.placed or ask.gather != "sweep"
        if not there or not self._life.take(values, placement, count):
            return False
        self._report.event("alive", {"placement": placement})
        if self._doubts.pop(("frozen", placement, None), None) is None:
            return False
        self._facts.remark = None
        self._report.notify("doubt", status("number-moves"), "good")
        return True

    def tick(self, ask: Prompt, now: float) -> bool:
        """Watch whether the travel moves as well, while a pass is waited for."""
        facts = self._facts
        remark = self._life.trouble(now, ready=facts.rested, moving=facts.moving)
        if remark is None or ask.phase != "sweep":
            return False
        self.tell(remark)
        return True
