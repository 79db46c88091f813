"""From the sweeps along a face to its profile, and what sweeps that differ do to any
number read off it.

Sweeps of one placement are cleaned, averaged, levelled and compared; two placements
tell the face from the straightedge. Positions and heights in mm; a height grows where
the face stands proud.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from bench.checks.model import EvidenceError, Trace
from bench.checks.shared.face_dirt import dirt_on_face
from bench.finding import SweepRow

if TYPE_CHECKING:
    from bench.geometry.cells import Array, Mask
    from bench.uncertainty import Between, Group, Part

WINDOW = 45.0  # mm that are averaged: longer than a texture, shorter than a board
CELLS_PER_WINDOW = 20
STEP = 5.0  # mm between the places of the profile
AS_MARKED = 0.25  # mm by which a mark, or the place read at it, may be off
# mm: farther apart the places where the indicator was stopped are the profile's own
STATIONS_APART = 15.0
SHARE_OF_LONGEST = 0.70  # under this share of the longest it is no sweep
MOST_ASIDE = 1 / 3
# mm: so wide a place that stands proud in every sweep is the face, whatever it is
LUMP = 8.0
# mm by which passes along a face differ where only one was made; common practice, no
# source
SINGLE = 0.003
# times as far from the others as they are from each other: that pass was disturbed
STANDS_OUT = 5.0


@dataclass(slots=True)
class Pass:
    """One sweep that is used. x, r: (n,) mm, all of its readings. aside: (n,)."""

    trace: Trace
    number: int
    x: Array
    r: Array
    aside: Mask

    @property
    def kept(self) -> tuple[Array, Array]:
        return self.x[~self.aside], self.r[~self.aside]


@dataclass(slots=True)
class Face:
    """x: (n,) places. f: (n,) the face, levelled. g: the straightedge, None with one
    placement.

    covariance: (n, n) mm^2 of f. freedom: its degrees of freedom. weights: with which
    each placement's mean enters f. lines: levelled averages of each sweep, by
    placement. span: mm of reading a sweep used. apart: mm between neighbouring readings
    of the sparsest sweep.
    """

    x: Array
    f: Array
    g: Array | None
    covariance: Array
    freedom: float
    weights: tuple[float, ...]
    lines: list[list[Array]]
    count: float
    span: float
    rows: list[SweepRow] = field(default_factory=list)
    apart: float = 0.0

    @property
    def length(self) -> float:
        return float(self.x[-1] - self.x[0])


@dataclass(slots=True)
class Differs:
    """What sweeps that differ do to one number: its rows. wider: how many times its
    standard uncertainty is that which the noise of neighbouring places alone would
    give."""

    between: Between
    groups: list[Group]
    wider: float

    def rows(self, of_noise: float) -> list[Part]:
        """For a number that is not quite linear in the heights: `of_noise` is what the
        noise alone does to it."""
        from bench.uncertainty import Part

        if self.between.single:
            own = Part(
                "within the sweep", "A", of_noise, self.between.degrees_of_freedom
            )
            return [self.between.part, own]
        return [
            Part(
                "between sweeps",
                "A",
                of_noise * self.wider,
                self.between.degrees_of_freedom,
            )
        ]


def face_of(
    traces: Sequence[Trace],
    placements: Sequence[str],
    count: float | None,
    notes: list[str],
) -> Face:
    """One or two placements (as it lies, rolled over), in that order. Raises
    EvidenceError."""
    import numpy as np

    from bench.geometry.reversal import GeometryError

    groups, rows = _passes(traces, placements, count, notes)
    try:
        face = _reverse(groups)
        odd = _disturbed(face, groups, placements, notes)
        if odd:
            groups = [
                [p for k, p in enumerate(g) if (i, k) not in odd]
                for i, g in enumerate(groups)
            ]
            face = _reverse(groups)
    except GeometryError as error:
        raise EvidenceError(str(error)) from error
    passes = [p for group in groups for p in group]
    face.count = _count(passes, count)
    # the slope of a set-up, and whatever the indicator adds in proportion to it, is
    # levelled away
    face.span = float(np.mean([np.ptp(line) for lines in face.lines for line in lines]))
    # a count that is never left says nothing, not that there is no noise
    if face.count > 0.0:
        floor = face.count**2 / 12.0 * _share(face.weights, face.lines)
        if float(np.mean(np.diag(face.covariance))) == 0.0:
            face.covariance = floor * np.eye(face.x.size)
    face.rows = rows
    face.apart = max(
        float(np.max(np.diff(np.unique(p.kept[0])), initial=0.0)) for p in passes
    )
    return face


def averaged_away(face: Face) -> Array:
    """(n,) mm by which averaging has bent the face: what averaging it once more does to
    it. Of places farther apart than what is averaged, the arch that may stand between
    neighbours, unseen.
    """
    import numpy as np

    from bench.geometry.reversal import level, smooth

    apart = max(face.apart, float(np.max(np.diff(face.x))))
    number = max(3, int(face.length / apart) + 1)
    if apart <= WINDOW / 2:
        return np.asarray(
            level(face.x, smooth(face.x, face.f, face.x, WINDOW)) - face.f
        )
    places = np.linspace(float(face.x[0]), float(face.x[-1]), number)
    bend = np.zeros(number)
    bend[1:-1] = -np.diff(np.interp(places, face.x, face.f), 2) / 8.0
    return np.asarray(np.interp(face.x, places, bend))


def differs(face: Face, sensitivity: Array, single: float = SINGLE) -> Differs:
    """The rule for several sweeps, on one number that is `sensitivity` times the
    heights of the face.

    Neighbouring places share readings and their noise is known from all of them; but a
    whole sweep may also be bent differently from the next, which only the numbers of
    whole sweeps show: the larger counts. single: mm that one pass may be off where no
    second one was made.
    """
    from bench.uncertainty import Group, between_sweeps

    variance = max(float(sensitivity @ face.covariance @ sensitivity), 0.0)
    each = math.sqrt(variance / _share(face.weights, face.lines))
    groups = [
        Group(
            weight,
            [float(sensitivity @ line) for line in lines],
            [each] * len(lines),
            [max(face.freedom, 1.0)] * len(lines),
        )
        for weight, lines in zip(face.weights, face.lines, strict=True)
    ]
    between = between_sweeps(groups, None, None, single)
    total = between.part.standard_uncertainty**2
    return Differs(
        between, groups, math.sqrt(total / variance) if variance > 0.0 else 1.0
    )


def _share(weights: Sequence[float], lines: Sequence[Sequence[object]]) -> float:
    return math.fsum(
        w * w / len(sweeps) for w, sweeps in zip(weights, lines, strict=True)
    )


def _passes(
    traces: Sequence[Trace],
    placements: Sequence[str],
    count: float | None,
    notes: list[str],
) -> tuple[list[list[Pass]], list[SweepRow]]:
    import numpy as np

    from bench.geometry.cells import count_seen

    chosen = [[t for t in traces if t.placement == p] for p in placements]
    if not all(any(t.push for t in group) for group in chosen):
        notes.append(
            "Not every set-up has a pass with rising x; passes both ways are used."
        )
    else:
        _compare_pulls(chosen, notes)
        chosen = [[t for t in group if t.push] for group in chosen]
    longest = max(float(np.ptp(t.travel)) for group in chosen for t in group)
    groups: list[list[Pass]] = []
    rows: list[SweepRow] = []
    looks: list[tuple[Pass, bool]] = []
    for placement, group in zip(placements, chosen, strict=True):
        good: list[Pass] = []
        for number, trace in enumerate(group, 1):
            x, r = (
                np.asarray(trace.travel, np.float64),
                np.asarray(trace.reading, np.float64),
            )
            aside = dirt_on_face(
                x, r, count if count is not None else count_seen(r), WINDOW
            )
            one = Pass(trace, number, x, r, aside)
            why = None
            if float(np.ptp(x)) < SHARE_OF_LONGEST * longest:
                why = f"it covers {np.ptp(x):.0f} mm, the longest {longest:.0f} mm"
            elif aside.mean() > MOST_ASIDE:
                why = f"{aside.mean():.0%} of its readings would have to be set aside"
            if why is None:
                good.append(one)
            else:
                notes.append(
                    f"Pass {trace.sweep or number} at {placement} was not used: {why}."
                    " Sweep again."
                )
            looks.append((one, why is None))
        if not good:
            raise EvidenceError(f"no pass at {placement} can be used: {notes[-1]}")
        groups.append(good)
    _lumps([p for group in groups for p in group], notes)
    for one, _ in looks:
        rows.append(_row(one))
    for trace in traces:
        if trace.placement in placements and not any(
            trace is one.trace for one, _ in looks
        ):
            x, r = (
                np.asarray(trace.travel, np.float64),
                np.asarray(trace.reading, np.float64),
            )
            rows.append(_row(Pass(trace, 0, x, r, np.zeros(x.size, dtype=bool))))
    return groups, rows


def _row(one: Pass) -> SweepRow:
    """Slope as read and what single readings scatter about the line; a bow is scatter
    here."""
    import numpy as np

    x, r = one.kept
    slope, error = 0.0, 0.0
    if x.size > 2 and np.ptp(x) > 0.0:
        offsets = x - x.mean()
        spread = float(offsets @ offsets)
        slope = float(offsets @ (r - r.mean())) / spread
        left = r - r.mean() - slope * offsets
        error = math.sqrt(float(left @ left) / (x.size - 2) / spread)
    trace = one.trace
    return SweepRow(
        trace.placement, trace.push, int(one.x.size), int(one.aside.sum()), slope, error
    )


def _lumps(passes: Sequence[Pass], notes: list[str]) -> None:
    """A place that stands proud in every pass is the face; one that is missing in every
    pass is a gap."""
    import numpy as np

    if not any(p.aside.any() for p in passes):
        return
    low, high = (
        min(float(p.x.min()) for p in passes),
        max(float(p.x.max()) for p in passes),
    )
    edges = np.arange(low, high + 2.0, 2.0)
    proud = np.ones(edges.size - 1, dtype=bool)
    for one in passes:
        x, r = one.kept
        order = np.argsort(x)
        over = one.aside & (one.r > np.interp(one.x, x[order], r[order]))
        filled = np.histogram(one.x, edges)[0]
        proud &= (np.histogram(one.x[over], edges)[0] > 0.5 * filled) | (filled == 0)
        proud &= np.histogram(one.x[over], edges)[0] + (filled == 0) > 0
    runs = [
        (edges[a], edges[b]) for a, b in _runs_of(proud) if edges[b] - edges[a] >= LUMP
    ]
    for start, stop in runs:
        for one in passes:
            one.aside &= ~((one.x >= start - 4.0) & (one.x <= stop + 4.0))
        notes.append(
            f"Something stands proud from {start:.0f} to {stop:.0f} mm in every pass:"
            " wipe the face and sweep again; what stays is the sled fence and is"
            " counted as such."
        )
    shown = sum(int(p.aside.sum()) for p in passes)
    if shown:
        worst = max(passes, key=lambda p: int(p.aside.sum()))
        at = worst.x[worst.aside]
        notes.append(
            f"{shown} readings were set aside as dust, gaps or slips, most of them near"
            f" {np.median(at):.0f} mm."
        )


def _runs_of(mask: Mask) -> list[tuple[int, int]]:
    import numpy as np

    turns = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True)]


def _reverse(groups: Sequence[Sequence[Pass]]) -> Face:
    """Two placements by reversal; one by itself, where the straightedge stays in."""
    import numpy as np

    from bench.geometry.reversal import reverse_sweeps

    pairs = [[p.kept for p in group] for group in groups]
    step = _step([pair for group in pairs for pair in group])
    both = len(pairs) == 2
    found = reverse_sweeps(pairs[0], pairs[-1], step=step, window=WINDOW)
    covariance = (
        found.covariance
        if found.covariance is not None
        else np.zeros((found.x.size,) * 2)
    )
    freedom = found.degrees_of_freedom or 1.0
    # every sweep stood in for its own reverse: half the noise, twice the evidence
    if not both:
        covariance, freedom = 2.0 * covariance, freedom / 2.0
    lines = [[_averaged(x, y, found.x) for x, y in group] for group in pairs]
    weights = (0.5, 0.5) if both else (1.0,)
    straightedge = found.straightedge if both else None
    return Face(
        found.x, found.face, straightedge, covariance, freedom, weights, lines, 0.0, 0.0
    )


def _averaged(x: Array, r: Array, grid: Array) -> Array:
    """One sweep's levelled average on the grid, (n,). Readings are first taken together
    in cells: thousands then cost no more than hundreds, and every stretch of travel
    counts alike either way. They are levelled before, so that the half cell by which
    the grid reaches beyond the outermost cells is no step of the set-up's slope.
    """
    import numpy as np

    from bench.geometry.reversal import level, smooth

    places, heights = x, level(x, r)
    reach = float(np.ptp(x))
    cells = round(reach * CELLS_PER_WINDOW / WINDOW)
    if x.size > 2 * cells > 2:
        member = np.minimum(
            ((x - x.min()) * (cells / reach)).astype(np.intp), cells - 1
        )
        held = np.bincount(member)
        full = held > 0
        places = np.bincount(member, x)[full] / held[full]
        heights = np.bincount(member, heights)[full] / held[full]
    at = np.clip(grid, places.min(), places.max())
    return np.asarray(level(grid, smooth(places, heights, at, WINDOW)))


def _step(pairs: Sequence[tuple[Array, Array]]) -> float:
    """The distance of evenly spaced stations, far enough apart to be no sweep; else
    that of the profile."""
    import numpy as np

    first = np.unique(pairs[0][0])
    apart = np.diff(first)
    even = (
        apart.size > 0
        and apart.min() > STATIONS_APART
        and np.ptp(apart) < 2 * AS_MARKED
    )
    places = [np.unique(x) for x, _ in pairs]
    same = all(
        p.size == first.size and float(np.max(np.abs(p - first))) < AS_MARKED
        for p in places
    )
    return float(apart.mean()) * (1.0 + 1e-9) if even and same else STEP


def _disturbed(
    face: Face,
    groups: Sequence[Sequence[Pass]],
    placements: Sequence[str],
    notes: list[str],
) -> set[tuple[int, int]]:
    """Passes that stand out from the others of their placement: a bumped stand, a
    pressed zero."""
    import numpy as np

    out: set[tuple[int, int]] = set()
    for i, (lines, group) in enumerate(zip(face.lines, groups, strict=True)):
        if len(lines) < 2:
            continue
        middle = np.median(lines, axis=0) if len(lines) > 2 else np.mean(lines, axis=0)
        away = np.array([float(np.max(np.abs(line - middle))) for line in lines])
        odd = int(np.argmax(away))
        usual = float(np.median(np.delete(away, odd)))
        where = float(face.x[int(np.argmax(np.abs(lines[odd] - middle)))])
        which = f"Pass {group[odd].trace.sweep or group[odd].number} at {placements[i]}"
        if len(lines) > 2 and away[odd] > max(STANDS_OUT * usual, 0.01):
            out.add((i, odd))
            notes.append(
                f"{which} was not used: it differs from the others by {away[odd]:.3f}"
                f" mm near {where:.0f} mm. A bumped stand, a slip?"
            )
        elif len(lines) == 2 and away[odd] > 0.01:
            notes.append(
                f"The two passes at {placements[i]} differ by {2 * away[odd]:.3f} mm"
                f" near {where:.0f} mm: one of them was disturbed; make a third."
            )
    return out


def _compare_pulls(groups: Sequence[Sequence[Trace]], notes: list[str]) -> None:
    import numpy as np

    from bench.geometry.reversal import GeometryError, common_grid

    for group in groups:
        pulls = [t for t in group if not t.push]
        if not pulls:
            continue
        try:
            grid = common_grid([t.travel for t in group], 20.0)
        except GeometryError:
            continue
        back, forth = (
            np.mean(
                [
                    _averaged(np.asarray(t.travel), np.asarray(t.reading), grid)
                    for t in some
                ],
                axis=0,
            )
            for some in (pulls, [t for t in group if t.push])
        )
        apart = float(np.max(np.abs(back - forth)))
        if apart > 0.02:
            notes.append(
                f"At {pulls[0].placement} the passes back differ from the others by"
                f" {apart:.3f} mm: late readings or a dragging plunger. Only passes"
                " with rising x count."
            )


def _count(passes: Sequence[Pass], given: float | None) -> float:
    from bench.geometry.cells import count_seen

    return given if given is not None else max(count_seen(p.r) for p in passes)
