"""The passes of one set-up, fitted, and the rotation of the surface that they met.

Lengths in mm, slopes and rotations in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import accumulate, groupby, pairwise
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import SetUpScatter, Trace
from bench.uncertainty import Between, Group

if TYPE_CHECKING:
    from bench.checks.shared.closure import Returned
    from bench.checks.shared.repeated_form import Form
    from bench.geometry.line_fit import SweepFit

# mm from one push's level to the next one above it: 0.2 to 0.5 is what is asked for,
# and a pressed zero is more
PRELOAD_MOVED = 0.15, 1.0


class Placed(msgspec.Struct):
    """The sweeps of one placement. `factor` turns dr/ds into the rotation of the
    surface touched."""

    name: str
    factor: float
    pushes: list[tuple[Trace, SweepFit]] = []
    pulls: list[tuple[Trace, SweepFit]] = []
    returned: Returned | None = None  # what its readings did not come back by
    # rad by which the slot had turned the sled, in the middle of these pushes, more
    # than in the middle that the answer is for
    slot_turn: float = 0.0
    form: Form | None = None  # of the surface, seen at one place in every pass
    # sizes of the set-ups that these pushes were taken in, in their order: what was
    # gone on with after the other placement was set up is a set-up of its own
    set_ups: list[int] = msgspec.field(default_factory=list)

    @property
    def rotation(self) -> float:
        return statistics.fmean(self.rotations)

    @property
    def rotations(self) -> list[float]:
        return [
            self.factor * float(fit.slope) - self.slot_turn for _, fit in self.pushes
        ]

    @property
    def length(self) -> float:
        return statistics.fmean(float(fit.stop - fit.start) for _, fit in self.pushes)

    @property
    def reseated(self) -> bool:
        seats = [trace.seat for trace, _ in self.pushes]
        return all(seat is None for seat in seats) or len(set(seats)) == len(seats)

    @property
    def preload_moved(self) -> bool:
        """Each push was read over a stretch of the indicator of its own, so that its
        errors there scatter."""
        levels = sorted(statistics.median(trace.reading) for trace, _ in self.pushes)
        least, most = PRELOAD_MOVED
        return len(levels) > 1 and all(
            least <= b - a <= most for a, b in pairwise(levels)
        )

    def group(self, weight: float) -> Group:
        return self._group(weight, slice(None))

    def groups(self, weight: float) -> list[Group]:
        """One for each set-up; the mean of all pushes enters with `weight`. Set-ups of
        a single push show no scatter of their own: then all pushes are one group."""
        if min(self.set_ups, default=0) < 2:
            return [self.group(weight)]
        ends = list(accumulate(self.set_ups))
        return [
            self._group(weight * n / ends[-1], slice(end - n, end))
            for n, end in zip(self.set_ups, ends, strict=True)
        ]

    def _group(self, weight: float, some: slice) -> Group:
        fits = [fit for _, fit in self.pushes[some]]
        return Group(
            weight,
            self.rotations[some],
            [float(fit.standard_uncertainty) for fit in fits],
            [float(fit.degrees_of_freedom) for fit in fits],
        )


def turn_factor(mount: str, side: str, grows: str) -> float:
    """dr/ds -> rotation from the +Y direction, counter-clockwise positive.

    dX = +dr with the indicator on the right, -dr on the left; the rotation is +dX/ds of
    a surface that walks past a standing indicator, -dX/ds of one that a carried
    indicator walks along.
    """
    factor = 1.0 if side == "right" else -1.0
    if mount == "carried":
        factor = -factor
    return factor if grows == "pushed-in" else -factor


def set_up_sizes(traces: Sequence[Trace], pushes: Sequence[Trace]) -> list[int]:
    """How many of one placement's pushes each of its set-ups has. traces: of the whole
    check, in the order they were taken."""
    used = {id(trace) for trace in pushes}
    runs = groupby(traces, key=lambda trace: trace.placement)
    sizes = [sum(id(trace) in used for trace in run) for _, run in runs]
    return [size for size in sizes if size]


def renewed_set_ups(placed: Sequence[Placed], between: Between) -> SetUpScatter | None:
    """What placements that were set up more than once show of the scatter between
    set-ups, as that of the square's error from one set-up of each; None where none
    was."""
    squares, freedom, shares = 0.0, 0, []
    for here in placed:
        groups = here.groups(1.0)
        means = [statistics.fmean(group.slopes) for group in groups]
        middle = statistics.fmean(means)
        squares += sum((mean - middle) ** 2 for mean in means)
        freedom += len(means) - 1
        shares += [1 / len(group.slopes) for group in groups]
    if not freedom or not between.s_between:
        return None
    return SetUpScatter(
        variance=squares / freedom / 2,
        degrees_of_freedom=float(freedom),
        own_variance=between.s_between**2 * statistics.fmean(shares) / 2,
        own_degrees_of_freedom=between.degrees_of_freedom,
        checks=0,
    )


def opposed(placed: Sequence[Placed]) -> bool:
    """Whether two set-ups meet the surface from opposite sides."""
    return len(placed) == 2 and placed[0].factor * placed[1].factor < 0
