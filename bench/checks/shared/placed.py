"""The passes of one set-up, fitted, and the rotation of the surface that they met.

Lengths in mm, slopes and rotations in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Trace
from bench.checks.shared.closure import Returned

if TYPE_CHECKING:
    from bench.checks.shared.repeated_form import Form
    from bench.geometry.line_fit import SweepFit
    from bench.uncertainty import Group

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
        from bench.uncertainty import Group

        fits = [fit for _, fit in self.pushes]
        return Group(
            weight,
            self.rotations,
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


def opposed(placed: Sequence[Placed]) -> bool:
    """Whether two set-ups meet the surface from opposite sides."""
    return len(placed) == 2 and placed[0].factor * placed[1].factor < 0
