"""What repeats at one place in several passes is form of the surface, not dirt.

A pass over a dent at the arm's end, or over a ledge, looks like one whose stand was
bumped: it is refused. Where the next pass shows the same jump at the same place it is
the surface: the passes are kept, the form that they share is taken off before a line is
fitted, and the line is that of the whole stretch, form and all, in both set-ups alike.
Pure. Lengths in mm, slopes in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Trace
from bench.finding import Remark, warning
from bench.uncertainty import Part, rectangular

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from bench.checks.shared.placed import Placed
    from bench.geometry.line_fit import SweepFit

SAME_PLACE = 8.0  # mm that the same jump may be found apart
SAME_SIZE = 0.4  # of the larger, by which two jumps of one size may differ
GRID = 1.0  # mm


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
    found = [
        jump_of(fit) for trace, fit in zip(traces, fits, strict=True) if trace.push
    ]
    jumps = [jump for jump in found if jump is not None]
    if not repeats(jumps):
        return None
    pushes = [trace for trace in traces if trace.push]
    low, high = stretch or (-float("inf"), float("inf"))
    low = max(low, *(min(t.travel) for t in pushes))
    high = min(high, *(max(t.travel) for t in pushes))
    return _shared(pushes, low, high, *jumps[0]) if high - low > 10 * GRID else None


def jump_of(fit: SweepFit) -> tuple[float, float] | None:
    """Place and size in mm of the jump for which a pass was refused."""
    why = fit.refused
    if why is None or why.code != "pass-jumps":
        return None
    at, size = why.values["at"], why.values["size"]
    assert isinstance(at, float) and isinstance(size, float)
    return at, size


def repeats(jumps: Sequence[tuple[float, float]]) -> bool:
    """Whether two or more jumps (place, size in mm) are all one."""
    if len(jumps) < 2:
        return False
    places = [at for at, _ in jumps]
    sizes = [size for _, size in jumps]
    alike = max(sizes) - min(sizes) <= SAME_SIZE * max(sizes)
    return alike and max(places) - min(places) <= SAME_PLACE


def _shared(
    pushes: Sequence[Trace], low: float, high: float, at: float, size: float
) -> Form:
    import numpy as np

    places = np.arange(low, high, GRID)
    lines = []
    for trace in pushes:
        order = np.argsort(trace.travel, kind="stable")
        s, r = np.asarray(trace.travel)[order], np.asarray(trace.reading)[order]
        line = np.interp(places, s, r)
        lines.append(line - np.polyval(np.polyfit(places, line, 1), places))
    height = np.median(lines, axis=0)
    height = height - np.polyval(np.polyfit(places, height, 1), places)
    rest = places < at - SAME_PLACE
    if 2 * at < low + high:
        rest = places > at + SAME_PLACE
    turn = float(np.polyfit(places[rest], height[rest], 1)[0]) if rest.any() else 0.0
    return Form(places, height, at, size, turn)


def form_row(placed: Sequence[Placed]) -> Part | None:
    """The form turns the line of its set-up, as it is read, by what the rest of the
    surface lies turned against the whole; opposed set-ups that both meet it cancel that
    in the fence. What is left is a half-width."""
    from bench.checks.shared.placed import opposed

    turns = [here.form.turn if here.form is not None else 0.0 for here in placed]
    if not any(turns):
        return None
    left = turns[0] - turns[1] if opposed(placed) else statistics.fmean(turns) * 2
    return rectangular("form that repeats", left / 2)


def told_of_forms(placed: Sequence[Placed]) -> list[Remark]:
    return [
        warning("form-repeats", here.name, size=here.form.size, at=here.form.at)
        for here in placed
        if here.form is not None
    ]
