"""The move made live: the remaining distance while the screw bites, after the proof that leaning is not seen.

The indicator stands on the jig, not on the table: a sled that shifts would read as a fence that moves.
Pure: readings (mm, growing as the plunger is pushed in) and presses in, `LiveSaid` out.
May import: bench.finding, bench.gear, bench.moves, bench.uncertainty, bench.wire.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Sequence

from bench.finding import Finding
from bench.gear import Jig
from bench.moves.nudge import Nudge, arm_nudge, drawn_by_tightening, fence_nudge, from_pivot
from bench.uncertainty import verdict
from bench.units import System, length_words
from bench.wire import Live, LiveSaid

STILL = 0.01  # mm that the number may wander while the sled is leaned; more and it does not stand on the jig
STILL_COUNTS = 5
RECENT = 10  # readings that make "now"


class NoLive(ValueError):
    """The move cannot be made live; the message says why."""


class LiveMove:
    """One live move from its lean proof to the last screw. `drawn_last`: mm that tightening drew last time,
    signed like the target; it is aimed past."""

    def __init__(
        self, request: Live, finding: Finding, jig: Jig, count: float, units: System, drawn_last: float = 0.0
    ) -> None:
        if jig.lever is None:
            raise NoLive(f"the distance from pivot to screw of {jig.name} is not known")
        self.finding = finding
        self.rotation = finding.quantities[0].value
        self.expanded = finding.quantities[0].uncertainty
        self.jig = jig
        self.units = units
        self.drawn: float | None = None
        self.phase = "lean"
        self._count = count
        arm = request.touches == "arm"
        if arm and request.from_pivot is None:
            raise NoLive("on the arm, give how far beyond the pivot's line the tip stands")
        if arm != (request.stands in ("left", "right")):
            raise NoLive("beyond or behind the fence, left or right of the arm")
        distance = request.from_pivot if request.from_pivot is not None else abs(jig.lever)
        if distance == 0:
            raise NoLive("at the pivot nothing moves: stand the indicator near the free end")
        target = (
            arm_nudge(self.rotation, distance)
            if arm
            else fence_nudge(self.rotation, from_pivot(jig, distance))
        )
        # what the tip sees, told as what the free end does at the place of the move
        self._to_end = -self.rotation * jig.lever / target if target else 1.0
        self._nudge = Nudge(target, 0.0, request.stands, -drawn_last)
        self._recent: deque[float] = deque(maxlen=RECENT)
        self._low = self._high = 0.0
        self._before = 0.0
        self._fresh = True
        self.remark: str | None = None

    @property
    def now(self) -> float | None:
        return statistics.fmean(self._recent) if self._recent else None

    def readings(self, values: Sequence[float]) -> None:
        for value in values:
            if self._fresh:
                self._low = self._high = value
                self._fresh = False
            self._low, self._high = min(self._low, value), max(self._high, value)
            self._recent.append(value)

    def press(self) -> None:
        """Lean seen; there; tight."""
        now = self.now
        if now is None:
            self.remark = "The indicator is not heard."
            return
        self.remark = None
        if self.phase == "lean":
            wander = self._high - self._low
            if wander > max(STILL, STILL_COUNTS * self._count):
                self.remark = (
                    f"The number moved by {length_words(wander, self.units)} while the sled was leaned: the indicator "
                    f"does not stand on the sled. Set it there, then lean again."
                )
                self._fresh = True
                return
            self._nudge = Nudge(self._nudge.target, now, self._nudge.stands, self._nudge.aim_past)
            self.phase = "go"
        elif self.phase == "go":
            self._before = now
            self.phase = "tighten"
        elif self.phase == "tighten":
            self.drawn = drawn_by_tightening(self._before, now, self._nudge)
            self.phase = "end"

    def said(self) -> LiveSaid:
        now = self.now
        target = self._nudge.target * self._to_end
        base = LiveSaid(on=self.phase != "end", phase="lean", words="", target=abs(target))
        if self.phase == "lean" or now is None:
            words = (
                "Indicator on the sled, its tip on the sled fence near the free end. Lean and push the sled: the "
                "number must stand still. Then Enter."
            )
            return _with(base, phase="lean", words=self.remark or words, enter=True)
        left = self._nudge.rotation_left(now, self.rotation)
        said = verdict(left, self.expanded, self.jig.tolerance)
        short = (
            self._nudge.to_go(now) if self.phase == "go" else self._nudge.short_of(now)
        ) * self._to_end  # of the free end, positive away
        way = "away" if short > 0 else "toward"
        first = "away" if target > 0 else "toward"
        distance = length_words(abs(short), self.units)
        drawn = None
        if self.phase == "go":
            words = (
                f"{distance} to go {way}. Enter when you are there."
                if way == first or abs(short) < self._count
                else f"Too far by {distance}: back {way}. Enter when you are there."
            )
        else:
            drawn = drawn_by_tightening(self._before, now, self._nudge) * self._to_end
            pull = length_words(abs(drawn), self.units)
            drew = (
                f"It has drawn {pull} {'away' if drawn > 0 else 'toward'}. "
                if abs(drawn) > self._count
                else ""
            )
            if self.phase == "tighten":
                words = f"Tighten. {drew}{distance} short, {way}. Enter when it is tight."
            else:
                words = f"Tight. {drew}Take the verifying passes."
        return _with(
            base,
            phase=self.phase,
            words=words,
            enter=self.phase != "end",
            end=self.jig.moving_end,
            way=way,
            to_go=abs(short),
            past=way != first and abs(short) >= self._count,
            moved=self._nudge.moved(now) * self._to_end,
            tolerance=self.jig.tolerance * abs(self.jig.lever or 0.0),
            drawn=drawn,
            rotation_left=left,
            verdict=said,
        )

    @property
    def gone(self) -> float:
        """mm the free end went in the way wanted, after the last screw; for the log."""
        now = self.now
        if now is None:
            return 0.0
        moved = self._nudge.moved(now) * self._to_end
        return moved if self._nudge.target * self._to_end > 0 else -moved

    @property
    def drawn_at_end(self) -> float | None:
        """mm that tightening drew the tip, signed like the target: aimed past next time."""
        return self.drawn


def _with(said: LiveSaid, **changes: object) -> LiveSaid:
    import msgspec

    return msgspec.structs.replace(said, **changes)
