"""Side and yaw play of a sled from readings while it is leaned and twisted in its
slots.

Displacement along X, right positive, in mm; yaw in rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.geometry.columns import Column, column


@dataclass(frozen=True)
class Play:
    """value: mm (side) or rad (yaw). standard_uncertainty: of it, None with one reading
    either way.

    degrees_of_freedom: by Welch and Satterthwaite; 0 where the uncertainty is None,
    infinite where every reading repeats exactly (the count of the instrument then says
    more).
    """

    value: float
    standard_uncertainty: float | None
    degrees_of_freedom: float


@dataclass(frozen=True)
class Twist(Play):
    """Yaw play. lever: mm by which the swing was divided. lever_uncertainty,
    place_uncertainty: standard, rad, beside the scatter."""

    lever: float = 0.0
    lever_uncertainty: float = 0.0
    place_uncertainty: float = 0.0


def side_play(leaned_left: Column, leaned_right: Column) -> Play:
    """The bodily shift of the sled: mean displacement leaned right less leaned left,
    mm.

    leaned_left, leaned_right: (n,), (m,) mm, taken near the runners' middle. A value
    below zero is no play but a contradiction: the side of the indicator or the two
    names are swapped.
    """
    return _difference(
        column("leaned left", leaned_left), column("leaned right", leaned_right)
    )


def yaw_play(
    twisted_left: Column,
    twisted_right: Column,
    place: float,
    runner_length: float = 0.0,
    place_uncertainty: float = 0.0,
) -> Twist:
    """Range of yaw: the size of the mean difference of both twists over the distance
    from the middle, rad.

    twisted_left, twisted_right: (n,), (m,) mm of displacement at `place` mm along Y
    from the runners' middle, either way. A rigid runner of length Lr with clearance c
    yaws by 2 c / Lr and shifts by c: read at half its length or farther off, the swing
    is the yaw play times that distance. Nearer, a sled that is only twisted still
    swings by the distance, one that is leaned as well by up to half of Lr: the lever is
    the middle of the two, and `lever_uncertainty` is rectangular between them.
    runner_length: Lr in mm, 0 where the lever is the distance whatever it is.
    place_uncertainty: standard, mm. The place is not the middle itself.
    """
    distance = abs(place)
    swing = _difference(
        column("twisted left", twisted_left), column("twisted right", twisted_right)
    )
    least = abs(swing.value) / max(distance, runner_length / 2.0)
    most = abs(swing.value) / distance
    value, half = (least + most) / 2.0, (most - least) / 2.0
    lever = most / value * distance if value else distance
    scatter = swing.standard_uncertainty
    return Twist(
        value,
        None if scatter is None else scatter / lever,
        swing.degrees_of_freedom,
        lever=lever,
        lever_uncertainty=half / float(np.sqrt(3.0)),
        place_uncertainty=value * place_uncertainty / distance,
    )


def _difference(first: Column, second: Column) -> Play:
    """Mean of the second less mean of the first, with the two scatters kept apart
    (leaning one way may be less steady than the other). Source: Welch (1947),
    Biometrika 34, 28-35; JCGM 100:2008, G.4.
    """
    a, b = column("first", first), column("second", second)
    value = float(b.mean() - a.mean())
    several = [values for values in (a, b) if values.size > 1]
    parts = [(float(np.var(v, ddof=1)) / v.size, v.size - 1) for v in several]
    if not parts:
        return Play(value, None, 0.0)
    if len(parts) == 1:  # the single reading of one way scatters as the other way's do
        variance, freedom = parts[0]
        return Play(value, float(np.sqrt(variance * (freedom + 2))), float(freedom))
    total = sum(v for v, _ in parts)
    if total == 0.0:
        return Play(value, 0.0, float("inf"))
    return Play(
        value, float(np.sqrt(total)), total**2 / sum(v * v / f for v, f in parts)
    )
