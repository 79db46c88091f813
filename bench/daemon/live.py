"""The move made live: the remaining distance while the screw bites, after the proof that leaning is not seen.

The indicator stands on the jig, not on the table: a sled that shifts would read as a fence that moves. Setting it
up moves the number too, so the proof begins only when a press has said that it stands.
Pure: readings (mm, growing as the plunger is pushed in) and presses in, `LiveSaid` out.
May import: bench.finding, bench.gear, bench.moves, bench.uncertainty, bench.wire.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Sequence
from typing import Literal

from bench.finding import Finding
from bench.gear import Jig
from bench.moves.nudge import Nudge, arm_nudge, drawn_by_tightening, fence_nudge, from_pivot
from bench.uncertainty import verdict
from bench.units import System, length_words
from bench.wire import Live, LiveSaid

STILL = 0.01  # mm that the number may wander while the sled is leaned; more and it does not stand on the jig
STILL_COUNTS = 5
RECENT = 10  # readings that make "now"

Phase = Literal["stand", "lean", "go", "tighten", "end"]


class NoLive(ValueError):
    """The move cannot be made live; the message says why."""


class LiveMove:
    """One live move from its set-up to the last screw. `drew_last`: mm that tightening drew the free end at the
    place of the move last time, positive away from the operator; it is aimed past."""

    def __init__(
        self, request: Live, finding: Finding, jig: Jig, count: float, units: System, drew_last: float = 0.0
    ) -> None:
        if jig.lever is None:
            raise NoLive(f"the distance from pivot to screw of {jig.name} is not known")
        self.finding = finding
        self.rotation = finding.quantities[0].value
        self.expanded = finding.quantities[0].uncertainty
        self.jig = jig
        self.units = units
        self.drew: float | None = None  # mm of the free end, positive away, when it was said to be tight
        self.phase: Phase = "stand"
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
        self._nudge = Nudge(target, 0.0, request.stands, -drew_last / self._to_end)
        self._place = (
            f"Stand the indicator on the sled, its tip on the square's arm {length_words(distance, units)} beyond the "
            f"pivot's line."
            if arm
            else f"Stand the indicator on the sled, its tip on the sled fence {length_words(distance, units)} from the "
            f"pivot."
        )
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
        """It stands on the sled; leaned; there; tight."""
        now = self.now
        if now is None:
            self.remark = "The indicator is not heard."
            return
        self.remark = None
        if self.phase == "stand":
            # what setting it up did to the number is no wander of the sled
            self._low = self._high = self._recent[-1]
            self._fresh = False
            self.phase = "lean"
        elif self.phase == "lean":
            wander = self._high - self._low
            if wander > max(STILL, STILL_COUNTS * self._count):
                self.remark = (
                    f"The number moved by {length_words(wander, self.units)} while the sled was leaned: the indicator "
                    f"does not stand on the sled. Set it there, then Enter, and lean again."
                )
                self.phase = "stand"
                return
            self._nudge = Nudge(self._nudge.target, now, self._nudge.stands, self._nudge.aim_past)
            self.phase = "go"
        elif self.phase == "go":
            self._before = now
            self.phase = "tighten"
        elif self.phase == "tighten":
            self.drew = self._drawn(now)
            self.phase = "end"

    def back(self) -> bool:
        """Slackened again: what tightening has drawn so far is aimed past. False where nothing was tightened."""
        now = self.now
        if self.phase != "tighten" or now is None:
            return False
        nudge = self._nudge
        drawn = drawn_by_tightening(self._before, now, nudge)
        self._nudge = Nudge(nudge.target, nudge.start, nudge.stands, -drawn)
        self.phase = "go"
        return True

    def _drawn(self, now: float) -> float:
        """mm that tightening has drawn the free end, positive away."""
        return drawn_by_tightening(self._before, now, self._nudge) * self._to_end

    def said(self) -> LiveSaid:
        now = self.now
        target = self._nudge.target * self._to_end
        base = LiveSaid(
            on=self.phase != "end", phase=self.phase, words="", target=abs(target), stands=self._nudge.stands
        )
        if self.phase == "stand" or now is None:
            words = f"{self._place} Enter when it stands."
            return _with(base, phase="stand", words=self.remark or words, enter=True)
        if self.phase == "lean":
            words = (
                "Lean the sled left and right and push it a little: the number must stand still. Then Enter."
            )
            return _with(base, words=self.remark or words, enter=True)
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
            aim = self._nudge.aim_past * self._to_end
            if abs(aim) > self._count:
                # what it drew is the other way of what is aimed past it
                words += (
                    f" It aims {length_words(abs(aim), self.units)} "
                    f"{'past' if (aim > 0) == (target > 0) else 'short'}: the screw draws it so much "
                    f"{'toward' if aim > 0 else 'away'}."
                )
        else:
            drawn = self._drawn(now)
            pull = length_words(abs(drawn), self.units)
            drew = (
                f"It has drawn {pull} {'away' if drawn > 0 else 'toward'}. "
                if abs(drawn) > self._count
                else ""
            )
            if self.phase == "tighten":
                over = "short" if way == first else "too far"
                left_words = f"{distance} {over}, {way}. " if abs(short) >= self._count else "It is there. "
                words = f"Tighten. {drew}{left_words}Enter when it is tight."
                if drew and said != "inside":
                    words += " Or slack off and take it back (undo): then it aims past by what was drawn."
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


def _with(said: LiveSaid, **changes: object) -> LiveSaid:
    import msgspec

    return msgspec.structs.replace(said, **changes)
