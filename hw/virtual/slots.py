"""The slots of the table and the sled's runners: their walls, widths and play.

mm and rad, from above: Y along the slots from their near end, away positive, +X right,
yaw counter-clockwise. Every wall has a profile of its own, so that slots and runners
are bowed as well as uneven.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random

from .edge_profile import EdgeProfile

TABLE_SLOT, SLED_RUNNER = 600.0, 450.0  # mm, lengths
SLOT_SPACING = 300.0  # mm, middle to middle
SLOT_WIDTH = 19.05  # mm, of a slot
COMPARE_STEP = 10.0  # mm between the places at which walls are compared
SLED_STEP = 30.0  # mm between the places of the sled that are tried
PLACE_EPS = 1e-9  # mm; rounding of the places


@dataclass(frozen=True)
class Bar:
    """A slot or a runner. middle: x of its middle line; wide: mm; left, right: profile
    of each wall, proud into a slot and out of a runner."""

    middle: float
    wide: float
    left: EdgeProfile
    right: EdgeProfile
    slot: bool

    def walls(self, at: float) -> tuple[float, float]:
        """x of the left and the right wall, mm, at a place along it."""
        left, right = self.left.at(at), self.right.at(at)
        half = self.wide / 2.0
        if self.slot:
            return self.middle - half + left, self.middle + half - right
        return self.middle - half - left, self.middle + half + right

    def width(self, at: float) -> float:
        left, right = self.walls(at)
        return right - left

    def centre(self, at: float) -> float:
        return sum(self.walls(at)) / 2.0


@dataclass(frozen=True)
class SlotsAndRunners:
    """slots, runners: left and right."""

    slots: tuple[Bar, Bar]
    runners: tuple[Bar, Bar]

    @classmethod
    def draw(
        cls,
        random: Random,
        side_play: float,
        uneven: float,
        bow: float,
        pinch: float = 0.0,
    ) -> SlotsAndRunners:
        """side_play: of the sled in them, mm. uneven, bow: standard deviations of every
        wall's form, mm. pinch: mm by which the left slot then narrows at one place."""

        def wall(length: float) -> EdgeProfile:
            return EdgeProfile.draw(
                random, length, uneven, random.gauss(0.0, bow), (0.0, length - 1.0)
            )

        def pair(length: float, wide: float, slot: bool) -> tuple[Bar, Bar]:
            apart = SLOT_SPACING + random.gauss(0.0, uneven)
            left = Bar(-apart / 2.0, wide, wall(length), wall(length), slot)
            return left, Bar(apart / 2.0, wide, wall(length), wall(length), slot)

        ways = cls(
            pair(TABLE_SLOT, SLOT_WIDTH, True),
            pair(SLED_RUNNER, SLOT_WIDTH - 2.0 * side_play, False),
        )
        for _ in range(2):  # planed until it runs with that play
            more = side_play - ways.play()[0]
            left, right = (replace(bar, wide=bar.wide - more) for bar in ways.runners)
            ways = replace(ways, runners=(left, right))
        if pinch:
            slot = ways.slots[0]
            tight = replace(slot, left=slot.left.raised(TABLE_SLOT / 3.0, 80.0, pinch))
            ways = replace(ways, slots=(tight, ways.slots[1]))
        return ways

    def width(self, what: str, at: float) -> float:
        """mm between the jaws of a caliper there; what: slot-left, runner-right,
        slot-spacing and so on."""
        body, _, side = what.partition("-")
        pair = {"slot": self.slots, "runner": self.runners}.get(body)
        if pair is None or side not in ("left", "right", "spacing"):
            raise ValueError(f"there is no width called {what!r}")
        length = TABLE_SLOT if body == "slot" else SLED_RUNNER
        if not -PLACE_EPS <= at <= length + PLACE_EPS:
            raise ValueError(f"the {body} ends at {length:g} mm, before {at:g} mm")
        if side == "spacing":
            return pair[1].centre(at) - pair[0].centre(at)
        return pair[0 if side == "left" else 1].width(at)

    def play(self, sides: Sequence[int] = (0, 1)) -> tuple[float, float]:
        """(side play in mm at the runners' middle, yaw play in rad), the largest with
        the runners wholly in the slots."""
        places = _places(0.0, TABLE_SLOT - SLED_RUNNER, SLED_STEP)
        found = [room(self._bounds(sides, at)) or (0.0, 0.0) for at in places]
        return max(x for x, _ in found), max(yaw for _, yaw in found)

    def relief(self, sides: Sequence[int] = (0, 1)) -> float:
        """mm to take off every runner's width so that it passes from end to end."""
        gaps = [
            widest(bounds)
            for at in _places(-SLED_RUNNER, TABLE_SLOT, SLED_STEP)
            if len(bounds := self._bounds(sides, at)) > 1
        ]
        return max(0.0, -min(gaps))

    def _bounds(
        self, sides: Sequence[int], at: float
    ) -> list[tuple[float, float, float]]:
        """(place from the runners' middle, least and largest x of the runner's own
        line) with its end at `at`."""
        out = []
        for side in sides:
            slot, runner = self.slots[side], self.runners[side]
            for u in _places(0.0, SLED_RUNNER):
                if -PLACE_EPS <= at + u <= TABLE_SLOT + PLACE_EPS:
                    slot_left, slot_right = slot.walls(at + u)
                    own_left, own_right = runner.walls(u)
                    out.append(
                        (
                            u - SLED_RUNNER / 2.0,
                            slot_left - own_left,
                            slot_right - own_right,
                        )
                    )
        return out


def _places(low: float, high: float, step: float = COMPARE_STEP) -> Iterator[float]:
    for k in range(int((high - low) / step + PLACE_EPS) + 1):
        yield low + k * step


Bounds = Sequence[tuple[float, float, float]]


def gap(bounds: Bounds, slope: float) -> tuple[float, float]:
    """Least and largest x at the middle of a line of that slope; the first is above
    the second where none passes."""
    return (
        max(low - slope * u for u, low, _ in bounds),
        min(high - slope * u for u, _, high in bounds),
    )


def widest(bounds: Bounds) -> float:
    """The largest room of any line, mm; negative where none passes."""
    return _room(bounds, _roomiest(bounds))


def room(bounds: Bounds) -> tuple[float, float] | None:
    """(mm between the outermost lines that pass, at the middle; rad over which they can
    turn); None where none passes."""
    best = _roomiest(bounds)
    if _room(bounds, best) < 0.0:
        return None
    steep = [_steepest(bounds, best, best + way * 0.1) for way in (-1.0, 1.0)]
    # lowest and highest x: concave in the slope
    high = gap(bounds, _argmax(lambda m: gap(bounds, m)[1], *steep))[1]
    low = gap(bounds, _argmax(lambda m: -gap(bounds, m)[0], *steep))[0]
    return high - low, math.atan(steep[1]) - math.atan(steep[0])


def _room(bounds: Bounds, slope: float) -> float:
    low, high = gap(bounds, slope)
    return high - low


def _roomiest(bounds: Bounds) -> float:
    """The slope with the most room."""
    return _argmax(lambda m: _room(bounds, m), -0.05, 0.05)


def _steepest(bounds: Bounds, inside: float, outside: float) -> float:
    """The slope between the two from which on no line passes."""
    for _ in range(32):
        middle = (inside + outside) / 2.0
        if _room(bounds, middle) < 0.0:
            outside = middle
        else:
            inside = middle
    return inside


def _argmax(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that rises and then falls has its maximum."""
    for _ in range(45):
        third = (high - low) / 3.0
        if of(low + third) < of(high - third):
            low += third
        else:
            high -= third
    return (low + high) / 2.0
