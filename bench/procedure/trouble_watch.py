"""The trouble watch: what readings and passes show against themselves, told once.

Holds no port and no socket.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.checks.shared.doubts import LIVE_COUNTS
from bench.finding import Doubt
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import Severity, StatusMessage

MOST_SHOWN = 300  # different readings from which the instrument's grid is known
LEAST = 5.0  # counts that the indicator moves by when a surface walks past it
# s that it does so before the travel is asked about: a quick pass has begun by then
MOVES_FOR = 3.0
# s without travel since "ready": the first pass of a set-up takes about ten, later ones
# are seated anew before
STOOD_FOR, SEATED_FOR = 12.0, 40.0  # common practice, no source
# s without rest since the set-up stands, and since a pass began
NO_REST, NO_END = 8.0, 16.0
AS_TRAVEL = 30.0  # mm: more than a plunger is pushed by hand, less than any pass


class LivenessMonitor:
    """Of one run: which numbers the instrument showed, by how much they moved since the
    set-up stands, and, while a pass is waited for, whether the travel moves as well."""

    def __init__(self) -> None:
        self.alive: list[str] = []
        self.shown: set[float] = set()
        self._low = self._high = 0.0
        self._begun = False
        self.wait()

    def anew(self, placement: str | None = None) -> None:
        """A set-up was put up anew, or (None) a spot was taken: what moved before
        proves nothing of what comes."""
        self._begun = False
        self.alive = [name for name in self.alive if name != placement]
        self.wait()
        self._passed = placement is None

    def see(self, values: Sequence[float], placement: str, count: float) -> bool:
        """True when the set-up is seen to live, the first time."""
        if len(self.shown) < MOST_SHOWN:
            self.shown.update(round(v, 9) for v in values)
        least, most = min(values), max(values)
        self._low = min(self._low, least) if self._begun else least
        self._high = max(self._high, most) if self._begun else most
        self._begun = True
        if (
            not placement
            or placement in self.alive
            or self._high - self._low < LIVE_COUNTS * count - 1e-9
        ):
            return False
        self.alive.append(placement)
        return True

    def wait(self, *, passed: bool = False) -> None:
        """A pass is waited for from now on. passed: one has begun in this set-up, so
        the travel is read."""
        self._since: float | None = None
        self._moved: float | None = None
        self._least = self._most = 0.0
        self._told = 0  # the gravest told so far
        self._passed = passed
        self._began = 0.0

    def waits(
        self, values: Sequence[float], now: float, count: float, *, moving: bool
    ) -> None:
        """What the indicator showed meanwhile."""
        least, most = min(values), max(values)
        if self._since is None:
            self._since, self._least, self._most = now, least, most
        if moving:  # its own way through a pass says nothing of the travel
            return
        self._least, self._most = min(self._least, least), max(self._most, most)
        if self._moved is None and self._most - self._least >= LEAST * count - 1e-9:
            self._moved = now

    def begin(self, now: float) -> None:
        """The travel moves."""
        self._began = now

    def end(self, *, passed: bool) -> None:
        """It stands again; passed: that was a pass, and not handling or a scale that
        wanders."""
        self._moved = None
        if passed:
            self.wait(passed=True)

    def trouble(self, now: float, *, ready: bool, moving: bool) -> StatusMessage | None:
        """What is wrong with the travel, as far as can be seen; None where it was told
        or nothing is wrong."""
        if self._since is None:
            return None
        if self._most - self._least > AS_TRAVEL:
            return self._once(3, StatusMessage("cables-swapped"))
        if moving or not ready:
            lasts = (
                now - self._began > NO_END if moving else now - self._since > NO_REST
            )
            return self._once(1, StatusMessage("sled-not-at-rest")) if lasts else None
        # once a pass was seen, a number that moves may be the square that is seated
        # anew
        if (
            not self._passed
            and self._moved is not None
            and now - self._moved > MOVES_FOR
        ):
            return self._once(2, StatusMessage("travel-stuck"))
        patience = SEATED_FOR if self._passed else STOOD_FOR
        return (
            self._once(1, StatusMessage("no-travel"))
            if now - self._since > patience
            else None
        )

    def _once(self, rank: int, remark: StatusMessage) -> StatusMessage | None:
        if self._told >= rank:
            return None
        self._told = rank
        return remark


class TroubleWatch:
    """What is told stays beside the prompt until the next pass begins.

    Each method that may change the prompt says whether it did.
    """

    def __init__(
        self,
        facts: ProcedureState,
        kept: AcceptedPasses,
        life: LivenessMonitor,
        event: Callable[[str, Mapping[str, Any]], None],
        notify: Callable[[str, StatusMessage, Severity], None],
    ) -> None:
        self._facts = facts
        self._kept = kept
        self._life = life
        self._event = event
        self._notify = notify
        # by what makes one doubt the same as another
        self._doubts: dict[Any, Doubt] = {}

    def tell(self, remark: StatusMessage) -> None:
        self._facts.remark = remark
        self._notify("doubt", remark, "warning")

    def new_doubts(
        self, found: Mapping[Any, Doubt]
    ) -> list[tuple[StatusMessage, Trace | None]]:
        """What is said of those that were not there before, each with the pass in which
        the number stood still, where it is that; `found` are all there are now."""
        fresh = [doubt for key, doubt in found.items() if key not in self._doubts]
        self._doubts = dict(found)
        return [
            (StatusMessage("doubt", msgspec.to_builtins(doubt)), self._stood(doubt))
            for doubt in fresh
        ]

    def _stood(self, doubt: Doubt) -> Trace | None:
        traces = self._kept.traces if doubt.code == "stood" else []
        for trace in traces:
            if trace.sweep == doubt.sweep:
                self._life.anew(trace.placement)
                return trace
        return None

    def readings(
        self, values: Sequence[float], ask: Prompt, count: float, now: float
    ) -> bool:
        """New readings of the set-up, mm. count: the instrument's, mm."""
        if not values:
            return False
        if ask.phase == "sweep":
            self._life.waits(values, now, count, moving=ask.moving)
        placement = self._kept.placement
        there = self._facts.placed or ask.gather != "sweep"
        if not there or not self._life.see(values, placement, count):
            return False
        self._event("alive", {"placement": placement})
        if self._doubts.pop(("frozen", placement, None), None) is None:
            return False
        self._facts.remark = None
        self._notify("doubt", StatusMessage("number-moves"), "good")
        return True

    def tick(self, ask: Prompt, now: float) -> bool:
        """Whether the travel moves as well, while a pass is waited for."""
        facts = self._facts
        remark = self._life.trouble(now, ready=facts.rested, moving=facts.moving)
        if remark is None or ask.phase != "sweep":
            return False
        self.tell(remark)
        return True
