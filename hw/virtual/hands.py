"""Hands on the virtual saw, in real time: they set up, seat, push, lean and turn.

Every act is awaited until it is done. What the hands do with the sled is a plan in
monotonic seconds, so that an instrument with a lag reads where the sled was.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable
from random import Random

from .gauge import Gauge
from .motion import Leg, Pose, Timeline, stroke
from .plane import Vector
from .saw import VirtualSaw
from .saw_and_sled import LeftRight

GRIP = 0.12  # s in which the hands take hold, or let go
FENCE_TURN_S = 0.4  # s in which they move the free end of the sled fence
INDICATOR_STEP, OTHER_STEP = (
    0.001,
    0.01,
)  # mm; resolutions of the indicator, and of the others
QUICK_SPEED = 400.0  # mm/s of a sled that is only brought somewhere
REST_AFTER = 0.6  # s of rest after a stroke, so that its end is recognised


class Hands:
    """The operator of one `VirtualSaw`.

    clock: seconds, monotonic. pace: 1.0 is brisk; 2.0 takes twice as long over
    everything but strokes.
    """

    def __init__(
        self,
        saw: VirtualSaw,
        clock: Callable[[], float] = time.monotonic,
        *,
        pace: float = 1.0,
    ) -> None:
        self.saw = saw
        self.clock = clock
        self.pace = pace
        traits = saw.traits
        self.indicator = Gauge(
            Random(saw.noise.random()), INDICATOR_STEP, traits.noise, traits.hysteresis
        )
        self.travel = Gauge(Random(saw.noise.random()), OTHER_STEP, traits.noise)
        self.caliper = Gauge(Random(0), OTHER_STEP)
        self._line = Timeline()
        # of the plunger by hand: from, to (s), mm, s of ease
        self._pulses: deque[tuple[float, float, float, float]] = deque(maxlen=16)

    # -- what instruments ask ----------------------------------------------------------

    def pose(self, t: float) -> Pose:
        """Where the sled was at time t (past or planned)."""
        return self._line.at(t)

    def depth(self, t: float) -> float:
        """True depth of the plunger in mm at time t."""
        extra = 0.0
        for began, ends, height, ease in self._pulses:
            if began < t < ends:
                extra += height * min(1.0, (t - began) / ease, (ends - t) / ease)
        return max(self.saw.depth(self._line.at(t)) + extra, 0.0)

    def indicator_at(self, t: float) -> float:
        """What the indicator shows of time t, mm."""
        return self.indicator.indicate(self.depth(t))

    def travel_at(self, t: float) -> float:
        """What the travel scale shows of time t, mm; grows away."""
        return self.travel.indicate(self.saw.travel_begins + self._line.at(t).s)

    def caliper_at(self, t: float) -> float:
        """What the caliper shows, mm."""
        return self.caliper.indicate(self.saw.bodies.between_jaws())

    def push_plunger(
        self, mm: float, began: float, seconds: float, ease: float
    ) -> None:
        """Push the plunger in that far at time began (s), and let it out again."""
        self._pulses.append((began, began + seconds, mm, min(ease, seconds / 3.0)))

    # -- acts on the set-up ------------------------------------------------------------

    async def put(
        self,
        placement: str,
        *,
        mount: str | None = None,
        at: float | None = None,
        side: str | None = None,
    ) -> None:
        """Clear the saw and set up `placement` (see `VirtualSaw.place`), with the
        plunger preloaded.

        The sled goes back to the start first, or to `at` mm for a spot of the blade;
        for leaned and twisted set-ups it stays leaned or twisted.
        """
        self.saw.lift()
        await self._wait(0.1)
        front, rear = (10.0, 160.0) if at is None else (at, at)
        start = rear if placement == "rear" else front if placement == "front" else 0.0
        await self._move_to(start, QUICK_SPEED)
        self.saw.place(placement, self._line.last, mount=mount, at=at, side=side)
        how, _, way = placement.partition("-")
        if how in ("leaned", "twisted"):
            await self.lean(
                "left" if way == "left" else "right", twist=how == "twisted"
            )
        await self._wait(0.15)

    async def slide(self, at: float) -> None:
        """Lift the plunger, go to the next station of the same set-up, lower it."""
        self.saw.slide(at)
        await self.touch()

    async def seat(self) -> None:
        """Lift the square, wipe, press it home again."""
        self.saw.lift()
        await self._wait(0.1)
        self.saw.seat()
        self.saw.lower()
        await self._wait(0.15)

    async def touch(self) -> None:
        """Lift the plunger and lower it again; a leaned or twisted sled is brought to
        the other side and back."""
        how, _, way = (self.saw.placement or "").partition("-")
        if how in ("leaned", "twisted"):
            ways: tuple[LeftRight, LeftRight] = (
                ("right", "left") if way == "left" else ("left", "right")
            )
            for side in ways:
                await self.lean(side, twist=how == "twisted")
                await self._wait(0.1)
        else:
            await self.push_in(-1.0, 0.3 * self.pace, 0.05)
        await self._wait(0.1)

    async def measure(self, what: str, at: float) -> None:
        """Take the caliper off, lay it across a width (see `Bodies.lay_caliper`)."""
        self.saw.bodies.jaws = None
        await self._wait(0.3)
        self.saw.bodies.lay_caliper(what, at)
        await self._wait(0.15)

    async def cut_board(self, kept: str = "left", turns: int = 4) -> None:
        """Cut a test board that is turned so many times, each cut in a fresh hold, down
        to its strip."""
        await self._wait(0.5)
        saw = self.saw
        saw.bodies.cut_board(
            saw.face(),
            lambda: Vector(0.0, 1.0).turned(saw.slot_angle - saw.hold()[1]),
            kept,
            turns,
            far=saw.fence == "far",
        )

    async def push_in(self, mm: float, seconds: float, ease: float) -> None:
        """Push the plunger in by hand that far, and let it out again."""
        began = self.clock()
        self.push_plunger(mm, began, seconds, ease)
        await self._until(began + seconds)

    async def tap(self, depth: float = 0.06) -> None:
        """Tap what the plunger touches: the reading jumps and comes back."""
        await self.push_in(depth, 0.1, 0.02)

    async def turn_fence(self, end: str, way: str, distance: float) -> None:
        """Move the fence's free end away or toward by distance mm, read at the stop.
        ValueError as `VirtualSaw.turn_fence`."""
        before = self.saw.fence_angle
        self.saw.turn_fence(end, way, distance)
        after = self.saw.fence_angle
        steps = max(1, round(FENCE_TURN_S * self.pace / 0.02))
        for step in range(1, steps + 1):
            self.saw.fence_angle = before + (after - before) * step / steps
            await self._wait(FENCE_TURN_S / steps)

    # -- acts on the sled --------------------------------------------------------------

    async def push(
        self, length: float = 220.0, speed: float = 200.0, *, settle: float = REST_AFTER
    ) -> None:
        """Take hold, push the sled away by about length mm at about speed mm/s, come to
        rest.

        settle: s of rest at the end; the end of a pass is recognised after half a
        second.
        """
        await self._take_hold()
        await self._stroke(length + self._scatter(1.0), speed)
        await self.rest(settle)

    async def pull_back(self) -> None:
        """Draw the sled back to the start, let go, come to rest."""
        await self._take_hold(back=True)
        await self._move_to(0.0, QUICK_SPEED)
        await self._let_go()
        await self.rest(REST_AFTER)

    async def stop_at(self, mark: float, speed: float = 120.0) -> None:
        """Bring the sled, or the indicator along the fence, to a mark (mm of travel, as
        the scale shows it) and hold it still."""
        await self._move_to(mark - self.saw.travel_begins, speed)
        await self._wait(0.2)

    async def lean(self, way: LeftRight | None, *, twist: bool = False) -> None:
        """Lean the sled bodily left or right within its play (twist: its far end only),
        or let it go."""
        if way is None:
            await self._let_go()
            return
        x, yaw = self.saw.hold(twist=way) if twist else self.saw.hold(lean=way)
        await self._go(self._line.last._replace(x=x, yaw=yaw), GRIP * 1.5 * self.pace)

    async def rest(self, seconds: float = 0.7) -> None:
        """Hands off, nothing moves."""
        await asyncio.sleep(seconds)

    # -- how ---------------------------------------------------------------------------

    def _scatter(self, mm: float) -> float:
        return self.saw.acts.uniform(-mm, mm) if self.saw.traits.uneven else 0.0

    async def _take_hold(self, *, back: bool = False) -> None:
        x, yaw = self.saw.hold(back=back)
        await self._go(self._line.last._replace(x=x, yaw=yaw), GRIP * self.pace)

    async def _let_go(self) -> None:
        await self._go(
            self._line.last._replace(x=self.saw.hold()[0] / 2.0, yaw=0.0),
            GRIP * self.pace,
        )

    async def _go(self, last: Pose, seconds: float) -> None:
        began = self.clock()
        self._line.add(Leg(began, began + seconds, self._line.at(began), last))
        await self._until(began + seconds)

    async def _move_to(self, s: float, speed: float) -> None:
        end = s + (self._scatter(0.3) if s else 0.0)
        length = end - self._line.at(self.clock()).s
        if abs(length) > 0.02:
            await self._stroke(length, speed)

    async def _stroke(self, length: float, speed: float) -> None:
        began = self.clock()
        first = self._line.at(began)
        traits = self.saw.traits
        travel = stroke(self.saw.acts, first.s, length, speed, traits.uneven)
        sway = self.saw.chance(traits.sway)
        last = first._replace(s=first.s + length)
        leg = Leg(began, began + travel.seconds, first, last, travel, sway)
        self._line.add(leg)
        await self._until(leg.ends)

    async def _wait(self, seconds: float) -> None:
        await asyncio.sleep(seconds * self.pace)

    async def _until(self, t: float) -> None:
        await asyncio.sleep(max(0.0, t - self.clock()))
