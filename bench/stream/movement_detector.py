"""The movement detector: which of several instruments was moved by hand, and how.

An indicator is recognised by a plunger that is pressed and let go, the travel by a sled
that is pushed and left. Pure: times in monotonic s, values in mm as shown.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from math import gcd
from typing import Literal, NamedTuple

REST_S = 0.4  # s without movement
LONE_READING_S = 0.7  # s after which a reading that came alone counts as rest
STAYS_S = 2.5  # s that a plunger may stay pressed before that is remarked on
LEAST_PRESS = 0.1  # mm; a lever-type indicator has little more in all
FELT = 0.02  # mm; less is nobody's doing
LONGEST_PRESS = 60.0  # mm; no plunger goes further
PUSHED = 50.0  # mm that the sled must go
NUDGED = 3.0  # mm
TRAVEL_STILL = 0.3  # mm within which the travel rests
AS_MUCH_SHARE = 0.2  # of the largest movement: what moved as much as that moved too
# different values, to tell the count from: by chance all steps are even once in 256
FEWEST_VALUES = 9
FINEST = 1e-5  # of the unit shown


class MovementTracker:
    """The movement of one number. base: where it rested at the beginning."""

    def __init__(self, still: float) -> None:
        self._still = still  # mm within which it rests
        self.base: float | None = None
        self.far = 0.0  # farthest from the base, signed
        self.value = 0.0
        self.resting_since: float | None = None
        self._window: deque[tuple[float, float]] = deque()
        self._last = 0.0
        self._step = 0.0  # the smallest seen

    @property
    def away(self) -> float:
        """How far from where it rested, signed."""
        return 0.0 if self.base is None else self.value - self.base

    def begin(self) -> None:
        """From now on, and from here."""
        self.base = self.value if self._window else None
        self.far = 0.0

    def take(self, times: Sequence[float], values: Sequence[float]) -> None:
        for t, v in zip(times, values, strict=True):
            if self._window:
                step = abs(v - self.value)
                if step > 1e-9 and (not self._step or step < self._step):
                    self._step = step
            self.value, self._last = v, t
            self._window.append((t, v))
            while len(self._window) > 2 and self._window[1][0] <= t - REST_S:
                self._window.popleft()
            if self.base is None:
                self.base = v
            if abs(self.away) > abs(self.far):
                self.far = self.away

    def still(self) -> float:
        return max(self._still, 3.0 * min(self._step, self._still))

    def at_rest(self, now: float) -> bool:
        """Rests now; also a number that came alone, sent by hand."""
        if not self._window:
            return True
        values = [v for t, v in self._window if t >= self._last - REST_S - 1e-9]
        resting = max(values) - min(values) <= self.still()
        covered = (
            self._last - self._window[0][0] >= REST_S * 0.8
            or now - self._last > LONE_READING_S
        )
        if resting and covered:
            if self.resting_since is None:
                self.resting_since = now
            return True
        self.resting_since = None
        return False

    def rested(self, now: float) -> float:
        """s of rest so far."""
        if not self.at_rest(now) or self.resting_since is None:
            return 0.0
        return now - self.resting_since


Outcome = Literal["nothing", "moving", "stays", "little", "far", "two", "back", "seen"]


class Movement(NamedTuple):
    """`moved`: (name, signed mm), the largest first."""

    outcome: Outcome
    moved: tuple[tuple[str, float], ...] = ()


def tracker(what: Literal["indicator", "travel"]) -> MovementTracker:
    return MovementTracker(FELT if what == "indicator" else TRAVEL_STILL)


def detect_press(trackers: dict[str, MovementTracker], now: float) -> Movement:
    """A plunger: out of rest, and back to where it was."""
    moved, early = _moved(trackers, FELT, now)
    if early is not None:
        return early
    name, most = moved[0]
    if abs(most) > LONGEST_PRESS:
        return Movement("far", moved)
    with_it = _as_much(moved, LEAST_PRESS)
    if len(with_it) > 1:
        return Movement("two", with_it)
    one = trackers[name]
    if abs(one.away) > max(0.25 * abs(most), 2 * FELT):
        return Movement("stays" if one.rested(now) > STAYS_S else "moving", moved)
    if abs(most) < LEAST_PRESS:
        return Movement("little", moved)
    return Movement("seen", moved[:1])


def detect_push(trackers: dict[str, MovementTracker], now: float) -> Movement:
    """A sled: far out of rest, and left there."""
    moved, early = _moved(trackers, NUDGED, now)
    if early is not None:
        return early
    with_it = _as_much(moved, NUDGED)
    if len(with_it) > 1 and abs(moved[0][1]) >= PUSHED:
        return Movement("two", with_it)
    name, most = moved[0]
    away = trackers[name].away
    if abs(away) >= PUSHED:
        return Movement("seen", ((name, away),))
    if trackers[name].rested(now) < 1.0:
        return Movement("moving", moved)
    return Movement("back" if abs(most) >= PUSHED else "little", moved)


def _moved(
    trackers: dict[str, MovementTracker], least: float, now: float
) -> tuple[tuple[tuple[str, float], ...], Movement | None]:
    """What moved more than `least` mm, the largest first; and the outcome where nothing
    did or something still moves."""
    far = [(name, one.far) for name, one in trackers.items() if abs(one.far) > least]
    moved = tuple(sorted(far, key=lambda one: -abs(one[1])))
    if not moved:
        return moved, Movement("nothing")
    if not all(one.at_rest(now) for one in trackers.values()):
        return moved, Movement("moving", moved)
    return moved, None


def _as_much(
    moved: tuple[tuple[str, float], ...], least: float
) -> tuple[tuple[str, float], ...]:
    bar = max(least, AS_MUCH_SHARE * abs(moved[0][1]))
    return tuple(one for one in moved if abs(one[1]) >= bar)


def shown_count(values: set[float], unit: str) -> float | None:
    """The instrument's count in the unit it shows: what all differences are whole
    multiples of.

    None where too few different values were seen to tell, or where no count of an
    instrument comes out.
    """
    if len(values) < FEWEST_VALUES:
        return None
    inch = 25.4 if unit == "inch" else 1.0
    whole = sorted({round(value / inch / FINEST) for value in values})
    common = 0
    for a, b in pairwise(whole):
        common = gcd(common, b - a)
    if not common or str(common).rstrip("0") not in ("1", "2", "5"):
        return None  # no instrument counts so
    count = common * FINEST
    return round(count, 6) if count <= 0.1 / inch + 1e-9 else None
