"""The move made live: the remaining distance while the screw bites, after the proof
that leaning is not seen.

The indicator stands on the jig, not on the table: a sled that shifts would read as a
fence that moves. Setting it up moves the number too, so the proof begins only when a
press has said that it stands. Pure: readings (mm, growing as the plunger is pushed in)
and presses in, `LiveMoveNotice` out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal

import msgspec

from bench.finding import Finding, Verdict
from bench.gear import Jig
from bench.moves.nudge import Nudge, drawn_by_tightening, tip_at
from bench.procedure.live_number import DirectionWatch, LiveNumber
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import LiveMoveNotice, LiveMoveRequest, LivePhase
from bench.uncertainty.verdicts import verdict

# How far the number may wander while the sled is leaned, in mm and in counts, the
# larger: an indicator that wanders more does not stand on the sled. No source.
LEAN_WANDER_MM, LEAN_WANDER_COUNTS = 0.01, 5
# A change up to so many times that wandering is no move: later it may wander further.
WANDER_FACTOR = 2.5
# Share of the tolerance that is as good as the aim: nearer betters no cut. Common
# practice, no source.
NEAR_SHARE = 0.1


class LiveMove:
    """One live move from its set-up to the last screw. `drew_last`: mm that tightening
    drew the free end at the place of the move last time, positive away from the
    operator; it is aimed past. None where it is not known. Raises NoLive."""

    def __init__(
        self,
        request: LiveMoveRequest,
        finding: Finding,
        jig: Jig,
        resolution: float | None,
        drew_last: float | None = None,
    ) -> None:
        self._tip = tip_at(request.touches, request.stands, request.from_pivot, jig)
        assert jig.lever is not None
        self.finding = finding
        self.rotation = finding.quantities[0].value
        self.expanded = finding.quantities[0].uncertainty
        self.jig = jig
        # mm of the free end, positive away, when it was said to be tight
        self.drew: float | None = None
        self.phase: LivePhase = "stand"
        self.remark: StatusMessage | None = None
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
        self._direction = DirectionWatch()
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
            self._watch_direction(now)
        if self._refused_at is not None and abs(now - self._refused_at) > self._band:
            self.remark = self._refused_at = None

    def lose(self) -> None:
        """Note that the indicator shows no reading of this moment."""
        self._number.lose()

    def _watch_direction(self, now: float) -> None:
        """Watch whether the move goes the wrong way."""
        nudge, number = self._nudge, self._number
        away = min(abs(nudge.to_go(now)), abs(nudge.to_go(number.middle)))
        held = None if number.held is None else abs(nudge.to_go(number.held))
        self._direction.update(away, held, self._band)

    @property
    def _band(self) -> float:
        return self._number.band

    @property
    def _near(self) -> float:
        """mm at the tip that are as good as there."""
        of_limit = NEAR_SHARE * self.jig.tolerance * self._lever / self._to_end
        return max(self._band, abs(of_limit))

    @property
    def _made(self) -> bool:
        """The number has moved and holds."""
        held = self._number.held
        return held is not None and abs(self._nudge.moved(held)) > self._band

    @property
    def _there(self) -> bool:
        held = self._number.held
        close = held is not None and abs(self._nudge.to_go(held)) <= self._near
        return close and self._made

    @property
    def _leave(self) -> bool:
        """Whether tightening alone will draw the fence all the way."""
        return abs(self._nudge.target + self._nudge.aim_past) <= self._band

    # ---- what is pressed -------------------------------------------------------------

    def press(self) -> None:
        """Take in Enter: it stands on the sled; leaned; there; tight."""
        now = self._number.now
        if now is None:
            self.remark = None if self._number.lost else status("live-not-heard")
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
        if wander > max(LEAN_WANDER_MM, LEAN_WANDER_COUNTS * number.count):
            self.remark = status("live-not-on-sled", moved=wander)
            self.phase = "stand"
            return
        number.wandered = WANDER_FACTOR * wander
        if abs(now - number.rest) > self._band:
            self._refuse(now, status("live-still-moves"))
            return
        if abs(nudge.target) <= self._band:
            self.remark = status("live-below-noise", move=abs(nudge.target))
            return
        number.steady()
        self._nudge = msgspec.structs.replace(nudge, start=number.rest)
        self._direction.restart(abs(nudge.target + nudge.aim_past))
        self.phase = "go"

    def _is_there(self, now: float) -> None:
        if self._enough:
            self._before = now
            self.phase = "tighten"
        elif abs(self._nudge.moved(now)) <= self._band:
            self._refuse(now, status("live-not-moved"))

    def _is_tight(self, now: float) -> None:
        if self._number.held is None:
            self._refuse(now, status("live-still-moves"))
            return
        self.drew = self._drawn(now)
        self.phase = "end"

    def _refuse(self, now: float, why: StatusMessage) -> None:
        self.remark, self._refused_at = why, now

    def slacken(self) -> bool:
        """Take in that the screw was slackened again: the move aims past what
        tightening has drawn so far. False where nothing was tightened."""
        now = self._number.now
        if self.phase != "tighten" or now is None:
            return False
        drawn = drawn_by_tightening(self._before, now, self._nudge)
        self._nudge = msgspec.structs.replace(self._nudge, aim_past=-drawn)
        self._known = True
        self._direction.restart(abs(self._nudge.to_go(now)))
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
        expected = -self._nudge.aim_past
        more = expected - drawn_by_tightening(self._before, now, self._nudge)
        return short - more if more * expected > 0 else short

    def _judged(self, now: float) -> tuple[float, Verdict]:
        """rad that the fence will be out once it is tight, and the verdict of that."""
        left = self.rotation * self._short(now) / self._nudge.target
        least = max(self._number.count, self._number.noise)
        seen = least * self.rotation / self._nudge.target
        judged = verdict(left, math.hypot(self.expanded, seen), self.jig.tolerance)
        doubted = self._number.jumped is not None and judged == "inside"
        return left, "cannot-tell" if doubted else judged

    @property
    def _enough(self) -> bool:
        """There; or it has moved, holds, and is good enough so, as far as is known of
        what tightening draws."""
        held = self._number.held
        return held is not None and (
            self._there
            or ((self._made or self._leave) and self._judged(held)[1] == "inside")
        )

    def _sized(self, mm: float, goes: float = 0.0) -> dict[str, Any]:
        """A distance of the free end; it carries no more digits than the number's noise
        lets it. goes: which way, positive away."""
        way = "away" if goes > 0 else "toward"
        return {"distance": abs(mm), "uncertainty": self._uncertainty, "way": way}

    @property
    def _uncertainty(self) -> float:
        """mm of the free end: the finding's and the number's own, expanded."""
        number = self._number
        seen = 2.0 * max(number.count / math.sqrt(12.0), number.noise) * self._to_end
        return math.hypot(self.expanded * self._lever, seen)

    def notice(self) -> LiveMoveNotice:
        now = self._number.now
        base = LiveMoveNotice(
            on=self.phase != "end",
            phase=self.phase,
            target=abs(self._nudge.target * self._to_end),
            stands=self._nudge.stands,
        )
        change, lean = msgspec.structs.replace, status("live-lean")
        if self._number.lost:
            return change(base, remarks=[status("live-unread")])
        if self.phase == "stand" or now is None:
            stand = self.remark or self._stand_remark()
            return change(base, phase="stand", remarks=[stand], enter=True)
        if self.phase == "lean":
            return change(base, remarks=[self.remark or lean], enter=True)
        return self._moving(base, now)

    def _stand_remark(self) -> StatusMessage:
        """Where the indicator is to stand."""
        beyond = self._tip.jig.fence == "near"
        on_arm = "live-stand-arm-beyond" if beyond else "live-stand-arm-short"
        code = on_arm if self._tip.arm else "live-stand-fence"
        return status(code, distance=self._tip.distance)

    def _moving(self, base: LiveMoveNotice, now: float) -> LiveMoveNotice:
        nudge, go = self._nudge, self.phase == "go"
        left, judged = self._judged(now)
        held = self._number.held is not None
        short = self._short(now) * self._to_end  # of the free end, positive away
        aim = (nudge.target + nudge.aim_past if go else nudge.target) * self._to_end
        way: Literal["away", "toward"] = "away" if short > 0 else "toward"
        past = (short > 0) != (aim > 0) and abs(short / self._to_end) > self._band
        unknown = self.phase != "end" and not self._known  # what tightening will draw
        tell = self._go_remarks if go else self._tighten_remarks
        remarks = tell(now, short, past)
        if (jumped := self._number.jumped) is not None and self.phase != "end":
            remarks.append(status("live-jumped", **self._sized(jumped * self._to_end)))
        return msgspec.structs.replace(
            base,
            remarks=[self.remark] if self.remark is not None else remarks,
            enter=self._enough if go else self.phase == "tighten" and held,
            end=self.jig.moving_end,
            way=way,
            to_go=abs(short),
            past=past,
            wrong=go and self._direction.wrong,
            there=go and self._there,
            uncertainty=self._uncertainty,
            moved=nudge.moved(now) * self._to_end,
            tolerance=self.jig.tolerance * abs(self._lever),
            drawn=None if go else self._drawn(now),
            rotation_left=left,
            verdict=None if unknown and judged == "inside" else judged,
        )

    def _go_remarks(self, now: float, short: float, past: bool) -> list[StatusMessage]:
        near = abs(self._to_end) * self._near
        at_aim = abs(short) <= near and abs(self._nudge.moved(now)) > self._band
        told = {
            "live-past": past,
            "live-there": self._there,
            "live-wrong-way": self._direction.wrong,
            "live-leave": self._leave,
            "live-hands-off": at_aim,
            "live-to-go": True,
        }
        code = next(code for code, so in told.items() if so)
        nearer = abs(self._nudge.target) - abs(self._nudge.to_go(now)) - self._band
        move = {**self._sized(short, short), "nearer": nearer}
        remarks = [status(code, **move, end=self.jig.moving_end)]
        if not (self._there or self._leave) and self._enough:
            remarks.append(status("live-or-enter"))
        aim = self._nudge.aim_past * self._to_end
        if abs(aim) > self._band * abs(self._to_end):
            past_it = (aim > 0) == (self._nudge.target * self._to_end > 0)
            code = "live-aims-past" if past_it else "live-aims-short"
            remarks.append(status(code, **self._sized(aim, -aim)))
        return remarks

    def _tighten_remarks(
        self, now: float, short: float, past: bool
    ) -> list[StatusMessage]:
        drawn, band = self._drawn(now), self._band * abs(self._to_end)
        drew = [status("live-drawn", **self._sized(drawn, drawn))]
        drew = drew if abs(drawn) > band else []
        if self.phase == "end":
            return [status("live-tight"), *drew, status("live-verify")]
        remarks = [status("live-tighten"), *drew]
        if abs(short) > band:
            code = "live-too-far" if past else "live-short"
            remarks.append(status(code, **self._sized(short, short)))
        remarks.append(status("live-enter-tight"))
        if drew and self._judged(now)[1] != "inside":
            remarks.append(status("live-slack-off"))
        return remarks

    @property
    def moved(self) -> float:
        """mm the free end went in the way wanted, after the last screw; for the log."""
        now = self._number.now
        if now is None:
            return 0.0
        moved = self._nudge.moved(now) * self._to_end
        return moved if self._nudge.target * self._to_end > 0 else -moved
