"""The side and yaw play of a runner in its slot, from widths at stations, and the
relief where it binds.

Frame: Y along the slot, away positive; X right positive; yaw counter-clockwise
positive. Lengths in mm, yaw in rad.

A rigid runner at place p (of its station 0 in the slot), offset x and yaw t fits while

    |x - t u - centre(p + u)| + q(u)/2 <= w(p + u)/2

at every runner station u that lies in the slot and at every slot station under the
runner. Widths and centres run straight from one station to the next, so slack is
straight between two neighbouring of these places and least at one of them: no place
between needs a look. The outermost stations are the ends of slot and runner; what lies
outside the slot touches nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.geometry.columns import Array, Column, GeometryError, column
from bench.geometry.feasible_lines import SAME_PLACE, feasible_lines


class Widths:
    """Widths of a slot or a runner at stations along it.

    stations: (n,) mm along Y, any order, all different. widths: (n,) mm, above zero.
    centres: (n,) mm, how far the middle stands right of the straight line it should be
    on; zero by default, since calipers cannot see it. Raises GeometryError. s, w, c:
    the same, by rising station.
    """

    def __init__(
        self, stations: Column, widths: Column, centres: Column | None = None
    ) -> None:
        s, w = column("stations", stations), column("widths", widths)
        c = np.zeros(s.size) if centres is None else column("centres", centres)
        if np.any(w <= 0.0):
            raise GeometryError(f"width {float(w.min()):g} mm: give widths above zero")
        order = np.argsort(s, kind="stable")
        self.s, self.w, self.c = s[order], w[order], c[order]

    def width(self, at: Array) -> Array:
        return np.asarray(np.interp(at, self.s, self.w))

    def centre(self, at: Array) -> Array:
        return np.asarray(np.interp(at, self.s, self.c))

    def shifted(self, stations: Column, offsets: Column) -> Widths:
        """The same with centres moved right by offsets, straight between their own
        stations, level beyond."""
        places = column("stations", stations)
        moves = column("offsets", offsets)
        order = np.argsort(places, kind="stable")
        places, moves = places[order], moves[order]
        inner = places[(places > self.s[0]) & (places < self.s[-1])]
        every = np.unique(np.concatenate((self.s, inner)))
        every = every[np.concatenate(([True], np.diff(every) > SAME_PLACE))]
        return Widths(
            every,
            self.width(every),
            self.centre(every) + np.interp(every, places, moves),
        )


@dataclass(frozen=True)
class PositionFit:
    """One sled position.

    at: place in the slot of the runner's station 0. yaw_play: range of yaw, rad.
    side_play: range of the offset at the runners' middle, mm. Either is None where
    nothing bounds it (one touching station only; side play is bounded even so if that
    is the middle) and 0 where it binds. relief: the least, off every runner's whole
    width, that lets it in, mm; 0 where it fits. tight: places in the slot that touch
    first (two or three of them hold the runner; only one under a single pinch). yaw:
    least and largest yaw, if it fits.
    """

    at: float
    yaw_play: float | None
    side_play: float | None
    relief: float
    tight: tuple[float, ...]
    yaw: tuple[float, float] | None = None

    @property
    def clearance(self) -> float:
        """mm that is left, negative where it binds; infinite where nothing bounds
        it."""
        if self.relief > 0.0:
            return -self.relief
        return math.inf if self.side_play is None else self.side_play


@dataclass(frozen=True)
class RunnerFit:
    """All positions, and what they come to.

    yaw_play, side_play: largest over the positions with the whole runner in the slot;
    where it is longer than the slot (whole is False), over those with the most of it
    inside. relief: the least that opens every position, partly out of the slot too.
    tightest: the position that needs it (or is nearest to it). tight: stretch of the
    slot, first to last place that touches where it binds; None where nothing binds.
    """

    yaw_play: float | None
    side_play: float | None
    relief: float
    whole: bool
    full: frozenset[float]
    tightest: PositionFit
    tight: tuple[float, float] | None
    positions: tuple[PositionFit, ...]


def fit_at(
    runners: Sequence[Widths],
    slots: Sequence[Widths],
    at: float,
    middle: float | None = None,
) -> PositionFit:
    """One runner in one slot, or two side by side in two, with station 0 at place `at`
    of the slots.

    runners, slots: one or two each, left first, as rigid as the sled; along Y the
    runners share station 0 and the slots theirs. middle: the station where side play is
    read, the runners' middle by default. Raises GeometryError where no part of a runner
    is in its slot.
    """
    centre = middle_of(runners) if middle is None else middle
    places, lower, upper = [], [], []
    for runner, slot in zip(runners, slots, strict=True):
        u = places_under(runner, slot, at)
        slack = (slot.width(at + u) - runner.width(u)) / 2.0
        offset = slot.centre(at + u) - runner.centre(u)
        places.append(u)
        lower.append(offset - slack)
        upper.append(offset + slack)
    u = np.concatenate(places)
    if not u.size:
        raise GeometryError(f"at {at:g} mm no part of a runner is in its slot")
    lows, highs = np.concatenate(lower), np.concatenate(upper)
    result = feasible_lines(u, lows, highs, centre)
    tight = tuple(sorted({round(float(at + u[i]), 6) for i in result.touching}))
    if result.gap < -SAME_PLACE:
        return PositionFit(at, 0.0, 0.0, -result.gap, tight)
    slopes, heights = result.slopes, result.heights
    if result.gap < 0.0:  # there is no room, but it binds nowhere
        result = feasible_lines(u, lows - SAME_PLACE, highs + SAME_PLACE, centre)
        slopes = result.slopes and (0.0, 0.0)
        heights = result.heights and (0.0, 0.0)
    # x falls along +u as the yaw grows
    yaw = None if slopes is None else (-slopes[1], -slopes[0])
    return PositionFit(at, _range(slopes), _range(heights), 0.0, tight, yaw)


def _range(ends: tuple[float, float] | None) -> float | None:
    return None if ends is None else ends[1] - ends[0]


def positions(runners: Sequence[Widths], slots: Sequence[Widths]) -> list[float]:
    """Every place `at` where a runner station meets a slot station, rising; the first
    and last are the ends (a runner's tip just in the slot). Between two of them the
    same stations touch the same stretches.
    """
    meetings = np.concatenate(
        [
            (slot.s[:, None] - runner.s[None, :]).ravel()
            for runner, slot in zip(runners, slots, strict=True)
        ]
    )
    meetings.sort()
    return [float(m) for m in meetings[np.diff(meetings, prepend=-np.inf) > 1e-6]]


def runner_fit(runners: Sequence[Widths], slots: Sequence[Widths]) -> RunnerFit:
    """Play at every meeting of stations, and what it comes to; see RunnerFit. Arguments
    as in `fit_at`."""
    centre = middle_of(runners)
    fits = tuple(fit_at(runners, slots, p, centre) for p in positions(runners, slots))
    inside = [_length_inside(runners, slots, f.at) for f in fits]
    most = max(inside)
    full = [f for f, length in zip(fits, inside, strict=True) if length >= most - 1e-6]
    whole = most >= sum(float(np.ptp(r.s)) for r in runners) - 1e-6
    touched = [place for f in fits if f.relief > 0.0 for place in f.tight]
    return RunnerFit(
        yaw_play=_largest([f.yaw_play for f in full]),
        side_play=_largest([f.side_play for f in full]),
        relief=max(f.relief for f in fits),
        whole=whole,
        full=frozenset(f.at for f in full),
        tightest=min(fits, key=lambda fit: fit.clearance),
        tight=(min(touched), max(touched)) if touched else None,
        positions=fits,
    )


def _largest(values: Sequence[float | None]) -> float | None:
    """The largest; None, unbounded, outdoes any number."""
    known = [v for v in values if v is not None]
    return max(known) if known and len(known) == len(values) else None


def middle_of(runners: Sequence[Widths]) -> float:
    """The station in the middle of all runners together, mm."""
    return (
        min(float(r.s[0]) for r in runners) + max(float(r.s[-1]) for r in runners)
    ) / 2.0


def places_under(runner: Widths, slot: Widths, at: float) -> Array:
    """Runner stations in the slot and slot stations under the runner, on the runner's
    own scale."""
    every = np.sort(np.concatenate((runner.s, slot.s - at)))
    low, high = max(runner.s[0], slot.s[0] - at), min(runner.s[-1], slot.s[-1] - at)
    both = every[(every >= low - SAME_PLACE) & (every <= high + SAME_PLACE)]
    return np.asarray(both[np.diff(both, prepend=-np.inf) > 1e-6])


def _length_inside(
    runners: Sequence[Widths], slots: Sequence[Widths], at: float
) -> float:
    pairs = zip(runners, slots, strict=True)
    return sum(
        max(
            0.0,
            min(at + float(r.s[-1]), float(s.s[-1]))
            - max(at + float(r.s[0]), float(s.s[0])),
        )
        for r, s in pairs
    )
