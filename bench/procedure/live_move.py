"""The move made live: the remaining distance while the screw bites, after the proof
that leaning is not seen.

The indicator stands on the jig, not on the table: a sled that shifts would read as a
fence that moves. Setting it up moves the number too, so the proof begins only when a
press has said that it stands. Pure: readings (mm, growing as the plunger is pushed in)
and presses in, `LiveSaid` out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.finding import Finding, Verdict
from bench.gear import Jig
from bench.moves.nudge import Nudge, drawn_by_tightening, tip_at
from bench.procedure.live_number import LiveNumber
from bench.protocol import Live, LiveSaid
from bench.uncertainty import verdict
from bench.units import System, length_words, rounded_words

# mm that the number may wander while the sled is leaned; more and it does not stand on
# the jig
STILL = 0.01
STILL_COUNTS = 5
# times what it wandered then that are no move: a stand that trembles wanders further
# later
WANDERS = 2.5
# of the tolerance: nearer to the aim than this betters no cut; common practice, no
# source
NEAR = 0.1

MOVES = "The number still moves. Let it hold, then Enter."

Phase = Literal["stand", "lean", "go", "tighten", "end"]
Way = Literal["away", "toward"]
WAYS: dict[Way, str] = {"away": "away from you", "toward": "toward you"}


class LiveMove:
    """One live move from its set-up to the last screw. `drew_last`: mm that tightening
    drew the free end at the place of the move last time, positive away from the
    operator; it is aimed past. None where it is not known. Raises NoLive."""

    def __init__(
        self,
        request: Live,
        finding: Finding,
        jig: Jig,
        resolution: float | None,
        units: System,
        drew_last: float | None = None,
    ) -> None:
        self._tip = tip_at(request.touches, request.stands, request.from_pivot, jig)
        assert jig.lever is not None
        self.finding = finding
        self.rotation = finding.quantities[0].value
        self.expanded = finding.quantities[0].uncertainty
        self.jig = jig
        self.units = units
        # mm of the free end, positive away, when it was said to be tight
        self.drew: float | None = None
        self.phase: Phase = "stand"
        self.remark: str | None = None
        self._lever = jig.lever
        target = self._tip.target(self.rotation)
        # what the tip sees, told as what the free end does at the place of the move
        self._to_end = -self.rotation * jig.lever / target if target else 1.0
        self._known = drew_last is not None  # what tightening draws
        self._nudge = Nudge(
            target, 0.0, request.stands, -(drew_last or 0.0) / self._to_end
        )
        self._number = LiveNumber(resolution)
        self._before = 0.0
        # mm: the least that was to go when it held, or when it turned round again
        self._best = 0.0
        # mm to go at the worst of a move the wrong way
        self._worst: float | None = None
        self._refused_at: float | None = None

    # ---- what is heard ---------------------------------------------------------------

    def readings(self, times: Sequence[float], values: Sequence[float]) -> None:
        """times: monotonic s; values: mm, growing as the plunger is pushed in."""
        if self._number.now is None:
            self.remark = None  # that it is not heard
        self._number.readings(times, values)
        now = self._number.now
        if now is None:
            return
        if self.phase == "go":
            self._look(now)
        if self._refused_at is not None and abs(now - self._refused_at) > self._band:
            self.remark = self._refused_at = None

    def lose(self) -> None:
        """The indicator does not read, or shows what is no reading of the moment."""
        self._number.lose()

    def _look(self, now: float) -> None:
        """Whether it goes the wrong way: further from the aim than it was, by more than
        the noise."""
        nudge, band = self._nudge, self._band
        away = min(abs(nudge.to_go(now)), abs(nudge.to_go(self._number.middle)))
        if self._worst is not None:
            self._worst = max(self._worst, away)
            if away < max(self._worst - band, self._best + band / 2):
                self._worst, self._best = None, max(away, self._best)
        elif away > self._best + band:
            self._worst = away
        elif self._number.held is not None:
            held = abs(nudge.to_go(self._number.held))
            self._best = held if held < self._best - band else self._best

    @property
    def _band(self) -> float:
        return self._number.band

    @property
    def _near(self) -> float:
        """mm at the tip that are as good as there."""
        return max(
            self._band, abs(NEAR * self.jig.tolerance * self._lever / self._to_end)
        )

    @property
    def _made(self) -> bool:
        """The number has moved and holds."""
        held = self._number.held
        return held is not None and abs(self._nudge.moved(held)) > self._band

    @property
    def _there(self) -> bool:
        held = self._number.held
        return (
            held is not None
            and self._made
            and abs(self._nudge.to_go(held)) <= self._near
        )

    @property
    def _leave(self) -> bool:
        """Nothing is to be moved: the screw alone will draw it all the way."""
        return abs(self._nudge.target + self._nudge.aim_past) <= self._band

    # ---- what is pressed -------------------------------------------------------------

    def press(self) -> None:
        """It stands on the sled; leaned; there; tight."""
        now = self._number.now
        if now is None:
            self.remark = None if self._number.lost else "The indicator is not heard."
            return
        self.remark = self._refused_at = None
        {
            "stand": self._stands,
            "lean": self._leaned,
            "go": self._is_there,
            "tighten": self._is_tight,
        }[self.phase](now)

    def _stands(self, now: float) -> None:
        self._number.steady()
        self.phase = "lean"

    def _leaned(self, now: float) -> None:
        number, nudge = self._number, self._nudge
        wander = number.wander
        if wander > max(STILL, STILL_COUNTS * number.count):
            self.remark = (
                f"The number moved by {length_words(wander, self.units)} while the sled"
                " was leaned: the indicator does not stand on the sled. Set it there,"
                " then Enter, and lean again."
            )
            self.phase = "stand"
            return
        number.wandered = WANDERS * wander
        if abs(now - number.rest) > self._band:
            self._refuse(now, MOVES)
            return
        if abs(nudge.target) <= self._band:
            self.remark = (
                f"The move at the tip is {length_words(abs(nudge.target), self.units)},"
                " no more than the number's own noise: this indicator cannot show it"
                " there."
            )
            return
        number.steady()
        self._nudge = msgspec.structs.replace(nudge, start=number.rest)
        self._best = abs(nudge.target + nudge.aim_past)
        self.phase = "go"

    def _is_there(self, now: float) -> None:
        if self._enough:
            self._before = now
            self.phase = "tighten"
        elif abs(self._nudge.moved(now)) <= self._band:
            self._refuse(
                now,
                "The number has not moved. Does the tip touch the sled fence, is the"
                " screw slack?",
            )

    def _is_tight(self, now: float) -> None:
        if self._number.held is None:
            self._refuse(now, MOVES)
            return
        self.drew = self._drawn(now)
        self.phase = "end"

    def _refuse(self, now: float, why: str) -> None:
        self.remark, self._refused_at = why, now

    def back(self) -> bool:
        """Slackened again: what tightening has drawn so far is aimed past. False where
        nothing was tightened."""
        now = self._number.now
        if self.phase != "tighten" or now is None:
            return False
        drawn = drawn_by_tightening(self._before, now, self._nudge)
        self._nudge = msgspec.structs.replace(self._nudge, aim_past=-drawn)
        self._known = True
        self._best, self._worst = abs(self._nudge.to_go(now)), None
        self.phase = "go"
        return True

    # ---- what is said ----------------------------------------------------------------

    def _drawn(self, now: float) -> float:
        """mm that tightening has drawn the free end, positive away."""
        return drawn_by_tightening(self._before, now, self._nudge) * self._to_end

    def _short(self, now: float) -> float:
        """mm at the tip that the fence will be short, once what tightening is still to
        draw is drawn."""
        if self.phase == "go":
            return self._nudge.to_go(now)
        short = self._nudge.short_of(now)
        if self.phase == "end":
            return short
        expected, drawn = (
            -self._nudge.aim_past,
            drawn_by_tightening(self._before, now, self._nudge),
        )
        more = expected - drawn
        return short - more if more * expected > 0 else short

    def _judged(self, now: float) -> tuple[float, Verdict]:
        """rad that the fence will be out once it is tight, and the verdict of that."""
        left = self.rotation * self._short(now) / self._nudge.target
        seen = (
            max(self._number.count, self._number.noise)
            * self.rotation
            / self._nudge.target
        )
        said = verdict(left, math.hypot(self.expanded, seen), self.jig.tolerance)
        return left, (
            "cannot-tell"
            if self._number.jumped is not None and said == "inside"
            else said
        )

    @property
    def _enough(self) -> bool:
        """There; or it has moved, holds, and is good enough so, as far as is known of
        what tightening draws."""
        held = self._number.held
        return held is not None and (
            self._there
            or ((self._made or self._leave) and self._judged(held)[1] == "inside")
        )

    def _sized(self, mm: float) -> str:
        """A distance of the free end in as many digits as the number's noise carries."""
        return rounded_words(abs(mm), self._uncertainty, self.units)

    @property
    def _uncertainty(self) -> float:
        """mm of the free end: the finding's and the number's own, expanded."""
        number = self._number
        seen = 2.0 * max(number.count / math.sqrt(12.0), number.noise) * self._to_end
        return math.hypot(self.expanded * self._lever, seen)

    def said(self) -> LiveSaid:
        now = self._number.now
        base = LiveSaid(
            on=self.phase != "end",
            phase=self.phase,
            words="",
            target=abs(self._nudge.target * self._to_end),
            stands=self._nudge.stands,
        )
        change = msgspec.structs.replace
        if self._number.lost:
            return change(
                base,
                words="The indicator does not read: what is left to go is not known.",
            )
        if self.phase == "stand" or now is None:
            words = (
                self.remark or f"{self._tip.words(self.units)} Enter when it stands."
            )
            return change(base, phase="stand", words=words, enter=True)
        if self.phase == "lean":
            words = (
                "Lean the sled left and right and push it a little: the number must"
                " stand still. Then Enter."
            )
            return change(base, words=self.remark or words, enter=True)
        return self._moving(base, now)

    def _moving(self, base: LiveSaid, now: float) -> LiveSaid:
        nudge, go = self._nudge, self.phase == "go"
        left, judged = self._judged(now)
        short = self._short(now) * self._to_end  # of the free end, positive away
        aim = (nudge.target + nudge.aim_past if go else nudge.target) * self._to_end
        way: Way = "away" if short > 0 else "toward"
        past = (short > 0) != (aim > 0) and abs(short / self._to_end) > self._band
        unknown = self.phase != "end" and not self._known  # what tightening will draw
        words = (
            self._go_words(now, short, way, past)
            if go
            else self._tighten_words(now, short, way, past)
        )
        if (jumped := self._number.jumped) is not None and self.phase != "end":
            size = self._sized(jumped * self._to_end)
            words += (
                f" It jumped {size} at once: if that was the stand, end live and check"
                " again."
            )
        return msgspec.structs.replace(
            base,
            words=self.remark or words,
            enter=(
                self._enough
                if go
                else self.phase == "tighten" and self._number.held is not None
            ),
            end=self.jig.moving_end,
            way=way,
            to_go=abs(short),
            past=past,
            wrong=go and self._worst is not None,
            there=go and self._there,
            uncertainty=self._uncertainty,
            moved=nudge.moved(now) * self._to_end,
            tolerance=self.jig.tolerance * abs(self._lever),
            drawn=None if go else self._drawn(now),
            rotation_left=left,
            verdict=None if unknown and judged == "inside" else judged,
        )

    def _go_words(self, now: float, short: float, way: Way, past: bool) -> str:
        nudge, to_end, near = self._nudge, self._to_end, abs(self._to_end) * self._near
        move = f"move the {self.jig.moving_end} end {WAYS[way]}."
        distance, aim = self._sized(short), nudge.aim_past * to_end
        if past:
            words = f"Too far by {distance}: back {WAYS[way]}."
        elif self._worst is not None:
            words = f"Wrong way: {move} {distance} to go."
        elif self._leave:
            words = "Leave it where it is. Enter, then tighten."
        elif self._there:
            words = "There, and it holds. Enter, then tighten."
        elif abs(short) <= near and abs(nudge.moved(now)) > self._band:
            words = "Hands off: it must hold there."
        else:
            words = f"{distance} to go: {move}"
        if not (self._there or self._leave) and self._enough:
            words += " Or Enter, to tighten it as it is."
        if abs(aim) > self._band * abs(to_end):
            # what it drew is the other way of what is aimed past it
            over = "past" if (aim > 0) == (nudge.target * to_end > 0) else "short"
            drew: Way = "toward" if aim > 0 else "away"
            words += (
                f" It aims {self._sized(aim)} {over}: the screw draws it so much"
                f" {WAYS[drew]}."
            )
        return words

    def _tighten_words(self, now: float, short: float, way: Way, past: bool) -> str:
        drawn, band = self._drawn(now), self._band * abs(self._to_end)
        drew = ""
        if abs(drawn) > band:
            drew = (
                f"It has drawn {self._sized(drawn)}"
                f" {WAYS['away' if drawn > 0 else 'toward']}. "
            )
        if self.phase == "end":
            return f"Tight. {drew}Take the verifying passes."
        left = (
            f"{self._sized(short)} {'too far: back' if past else 'short:'}"
            f" {WAYS[way]}. "
            if abs(short) > band
            else ""
        )
        words = f"Tighten. {drew}{left}Enter when it is tight."
        if drew and self._judged(now)[1] != "inside":
            words += (
                " Or slack off and take it back (undo): then it aims past by what was"
                " drawn."
            )
        return words

    @property
    def gone(self) -> float:
        """mm the free end went in the way wanted, after the last screw; for the log."""
        now = self._number.now
        if now is None:
            return 0.0
        moved = self._nudge.moved(now) * self._to_end
        return moved if self._nudge.target * self._to_end > 0 else -moved
