"""The fitted passes of one placement, and the rotation of the surface that they met.

What repeats at one place in several passes is form of the surface, not dirt: a pass
over a dent at the arm's end, or over a ledge, looks like one whose stand was bumped,
and is refused. Where the next pass shows the same jump at the same place the passes are
used, the form that they share is taken off before a line is fitted, and the line is
that of the whole stretch, form and all, in both set-ups alike. Lengths in mm, slopes
and rotations in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import accumulate, groupby, pairwise
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Trace
from bench.finding import Remark, warning
from bench.uncertainty.budget import Part, rectangular
from bench.uncertainty.sweeps import Group, SweepScatter, scatter_within
from bench.uncertainty.variance_components import SetUpScatter

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from bench.checks.shared.return_error import ReturnError
    from bench.geometry.line_fit import SweepFit

# mm from one push's level to the next one above it: 0.2 to 0.5 is what is asked for,
# and a pressed zero is more
PRELOAD_MOVED = 0.15, 1.0
SAME_JUMP = 8.0  # mm that the same jump may be found apart
SAME_SIZE = 0.4  # of the larger, by which two jumps of one size may differ
FORM_GRID = 1.0  # mm
# share of a pass; with more of it used, hardly anything is left out
NEARLY_WHOLE = 0.97


class PlacementFit(msgspec.Struct):
    """The sweeps of one placement. `factor` turns dr/ds into the rotation of the
    surface touched."""

    name: str
    factor: float
    pushes: list[tuple[Trace, SweepFit]] = []
    pulls: list[tuple[Trace, SweepFit]] = []
    return_error: ReturnError | None = None  # what its readings did not come back by
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


def turn_factor(mount: str, side: str) -> float:
    """dr/ds -> rotation from the +Y direction, counter-clockwise positive.

    dX = +dr with the indicator on the right, -dr on the left; the rotation is +dX/ds of
    a surface that walks past a standing indicator, -dX/ds of one that a carried
    indicator walks along.
    """
    return 1.0 if (side == "right") != (mount == "carried") else -1.0


def set_up_sizes(traces: Sequence[Trace], pushes: Sequence[Trace]) -> list[int]:
    """The number of pushes in each set-up of one placement. traces: of the whole check,
    in the order they were taken."""
    used = {id(trace) for trace in pushes}
    runs = groupby(traces, key=lambda trace: trace.placement)
    sizes = [sum(id(trace) in used for trace in run) for _, run in runs]
    return [size for size in sizes if size]


def renewed_set_ups(
    placed: Sequence[PlacementFit], between: SweepScatter
) -> SetUpScatter | None:
    """The scatter between set-ups that placements set up more than once show, as that
    of the square's error from one of each; None where none was."""
    set_ups = [here.groups(1.0) for here in placed]
    means = [[statistics.fmean(one.slopes) for one in groups] for groups in set_ups]
    squares, freedom = scatter_within(means)
    shares = [1 / len(one.slopes) for groups in set_ups for one in groups]
    if not freedom or not between.s_between:
        return None
    return SetUpScatter(
        variance=squares / freedom / 2,
        degrees_of_freedom=float(freedom),
        own_variance=between.s_between**2 * statistics.fmean(shares) / 2,
        own_degrees_of_freedom=between.degrees_of_freedom,
        checks=0,
    )


def are_opposed(placed: Sequence[PlacementFit]) -> bool:
    """Whether two set-ups meet the surface from opposite sides."""
    return len(placed) == 2 and placed[0].factor * placed[1].factor < 0


class Form(msgspec.Struct, frozen=True):
    """height: mm at `places`, with no slope of its own over them. at, size: mm, of the
    jump. turn: rad, slope of the part on the longer side of the jump."""

    places: npt.NDArray[np.float64]
    height: npt.NDArray[np.float64]
    at: float
    size: float
    turn: float

    def taken_off(self, trace: Trace) -> list[float]:
        import numpy as np

        form = np.interp(trace.travel, self.places, self.height)
        return [float(r - h) for r, h in zip(trace.reading, form, strict=True)]


def form_of(
    traces: Sequence[Trace],
    fits: Sequence[SweepFit],
    stretch: tuple[float, float] | None,
) -> Form | None:
    """The form that the passes of one set-up share; None where no jump repeats.

    stretch: mm of travel that is fitted; None for all that the pushes share.
    """
    pairs = zip(traces, fits, strict=True)
    jumps = list(filter(None, (jump_of(fit) for trace, fit in pairs if trace.push)))
    if not is_one_jump(jumps):
        return None
    pushes = [trace for trace in traces if trace.push]
    low, high = stretch or (-float("inf"), float("inf"))
    low = max(low, *(min(t.travel) for t in pushes))
    high = min(high, *(max(t.travel) for t in pushes))
    wide = high - low > 10 * FORM_GRID
    return _shared(pushes, low, high, *jumps[0]) if wide else None


def jump_of(fit: SweepFit) -> tuple[float, float] | None:
    """Place and size in mm of the jump for which a pass was refused."""
    why = fit.refused
    if why is None or why.code != "pass-jumps":
        return None
    at, size = why.values["at"], why.values["size"]
    assert isinstance(at, float) and isinstance(size, float)
    return at, size


def is_one_jump(jumps: Sequence[tuple[float, float]]) -> bool:
    """Whether two or more jumps (place, size in mm) are all one."""
    if len(jumps) < 2:
        return False
    places = [at for at, _ in jumps]
    sizes = [size for _, size in jumps]
    alike = max(sizes) - min(sizes) <= SAME_SIZE * max(sizes)
    return alike and max(places) - min(places) <= SAME_JUMP


def _shared(
    pushes: Sequence[Trace], low: float, high: float, at: float, size: float
) -> Form:
    import numpy as np

    places = np.arange(low, high, FORM_GRID)
    lines = []
    for trace in pushes:
        order = np.argsort(trace.travel, kind="stable")
        s, r = np.asarray(trace.travel)[order], np.asarray(trace.reading)[order]
        line = np.interp(places, s, r)
        lines.append(line - np.polyval(np.polyfit(places, line, 1), places))
    height = np.median(lines, axis=0)
    height = height - np.polyval(np.polyfit(places, height, 1), places)
    rest = places < at - SAME_JUMP
    if 2 * at < low + high:
        rest = places > at + SAME_JUMP
    turn = float(np.polyfit(places[rest], height[rest], 1)[0]) if rest.any() else 0.0
    return Form(places, height, at, size, turn)


def form_row(placed: Sequence[PlacementFit]) -> Part | None:
    """The form turns the line of its set-up, as it is read, by what the rest of the
    surface lies turned against the whole; opposed set-ups that both meet it cancel that
    in the fence. What is left is a half-width."""
    turns = [here.form.turn if here.form is not None else 0.0 for here in placed]
    if not any(turns):
        return None
    left = turns[0] - turns[1] if are_opposed(placed) else statistics.fmean(turns) * 2
    return rectangular("form that repeats", left / 2)


def stretch_row(placed: Sequence[PlacementFit]) -> Part | None:
    """One surface met from one side keeps its form in the answer: what the passes that
    ran beyond the stretch that all share saw there turns their lines by so much, a
    half-width. Opposed set-ups cancel it."""
    import numpy as np

    from bench.geometry.columns import line_of

    if len(placed) > 1:
        return None
    turns = []
    for trace, fit in placed[0].pushes:
        s, r = np.asarray(trace.travel), np.asarray(trace.reading)
        shared = (s >= fit.start) & (s <= fit.stop)
        if NEARLY_WHOLE * np.ptp(s) > np.ptp(s[shared]) > 0.0:
            turns.append(line_of(s, r).slope - line_of(s[shared], r[shared]).slope)
    if not turns:
        return None
    return rectangular("stretches that differ", statistics.fmean(turns))


def form_remarks(placed: Sequence[PlacementFit]) -> list[Remark]:
    return [
        warning("form-repeats", here.name, size=here.form.size, at=here.form.at)
        for here in placed
        if here.form is not None
    ]
