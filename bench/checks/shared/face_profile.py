"""The profile of a face from the sweeps along it, and the scatter that sweeps give any
number read off it.

Sweeps of one placement are cleaned, averaged, levelled and compared; two placements
tell the face from the straightedge. Positions and heights in mm; a height grows where
the face stands proud.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from bench.checks.model import Trace
from bench.checks.shared.face_passes import Pass, averaged, passes_of
from bench.checks.shared.sweep_fits import refusal_of
from bench.finding import Remark, SweepRow, refusal, warning
from bench.geometry.cells import Array, count_seen
from bench.geometry.reversal import WINDOW, level, reverse_sweeps, smooth
from bench.uncertainty.budget import Part
from bench.uncertainty.sweeps import Group, SweepScatter, between_sweeps

PROFILE_STEP = 5.0  # mm between the places of the profile
AS_MARKED = 0.25  # mm by which a mark, or the place read at it, may be off
# mm: farther apart the places where the indicator was stopped are the profile's own
STATIONS_APART = 15.0
# mm by which passes along a face differ where only one was made; common practice, no
# source
SINGLE_FACE = 0.003
# times as far from the others as they are from each other: that pass was disturbed
STANDS_OUT = 5.0
BENDS = "straightedge that bends"


class Face(msgspec.Struct):
    """x: (n,) places. f: (n,) the face, levelled. g: the straightedge, None with one
    placement.

    covariance: (n, n) mm^2 of f. freedom: its degrees of freedom. weights: with which
    each placement's mean enters f. lines: levelled averages of each sweep, by
    placement. pressed: those of the passes that were pressed hard. span: mm of reading
    a sweep used. apart: mm between neighbouring readings of the sparsest sweep. bend:
    (n,) mm, standard uncertainty of how far the straightedge gives way at the places.
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
    rows: list[SweepRow] = []
    apart: float = 0.0
    pressed: list[Array] = []
    bend: Array = msgspec.field(default_factory=lambda: np.zeros(0))

    def bend_row(self, sensitivity: Array) -> Part:
        """The row of a number that is `sensitivity` times the heights of the face."""
        return Part(BENDS, "B", abs(float(sensitivity @ self.bend)))

    @property
    def length(self) -> float:
        return float(self.x[-1] - self.x[0])

    @property
    def share(self) -> float:
        """The share of one sweep's variance that is left in f."""
        pairs = zip(self.weights, self.lines, strict=True)
        return math.fsum(w * w / len(sweeps) for w, sweeps in pairs)


class PassScatter(msgspec.Struct):
    """The scatter that sweeps give one number, and its rows. wider: how many times its
    standard uncertainty is that which the noise of neighbouring places alone would
    give."""

    between: SweepScatter
    groups: list[Group]
    wider: float

    def rows(self, of_noise: float) -> list[Part]:
        """For a number that is not quite linear in the heights: `of_noise` is what the
        noise alone does to it."""
        dof = self.between.degrees_of_freedom
        if self.between.single:
            return [self.between.part, Part("within the sweep", "A", of_noise, dof)]
        return [Part("between sweeps", "A", of_noise * self.wider, dof)]


def face_of(
    traces: Sequence[Trace],
    placements: Sequence[str],
    count: float | None,
    remarks: list[Remark],
    pressed: str = "",
) -> Face:
    """One or two placements (as it lies, rolled over), in that order. pressed: the one
    whose passes were pressed hard as it lay. Raises EvidenceError."""
    there = any(t.placement == pressed for t in traces)
    names = [*placements, pressed] if there else list(placements)
    groups, rows = passes_of(traces, names, count, remarks)
    face = _reverse(groups, len(placements))
    odd = _disturbed(face, groups, names, remarks)
    if odd:
        groups = [[p for p in group if id(p) not in odd] for group in groups]
        face = _reverse(groups, len(placements))
    passes = [p for group in groups for p in group]
    face.count = max(count_seen(p.r) for p in passes) if count is None else count
    # the slope of a set-up, and whatever the indicator adds in proportion to it, is
    # levelled away
    face.span = float(np.mean([np.ptp(line) for lines in face.lines for line in lines]))
    # a count that is never left says nothing, not that there is no noise
    if face.count > 0.0 and float(np.mean(np.diag(face.covariance))) == 0.0:
        floor = face.count**2 / 12.0 * face.share
        face.covariance = floor * np.eye(face.x.size)
    face.rows = rows
    gaps = [np.max(np.diff(np.unique(p.kept[0])), initial=0.0) for p in passes]
    face.apart = float(max(gaps))
    return face


def averaging_loss(face: Face) -> Array:
    """(n,) mm by which averaging has bent the face: what averaging it once more does to
    it. Of places farther apart than what is averaged, the arch that may stand between
    neighbours, unseen.
    """
    apart = max(face.apart, float(np.max(np.diff(face.x))))
    number = max(3, int(face.length / apart) + 1)
    if apart <= WINDOW / 2:
        return level(face.x, smooth(face.x, face.f, face.x, WINDOW)) - face.f
    places = np.linspace(float(face.x[0]), float(face.x[-1]), number)
    bend = np.zeros(number)
    bend[1:-1] = -np.diff(np.interp(places, face.x, face.f), 2) / 8.0
    return np.asarray(np.interp(face.x, places, bend))


def pass_scatter(
    face: Face, sensitivity: Array, single: float = SINGLE_FACE
) -> PassScatter:
    """The rule for several sweeps, on one number that is `sensitivity` times the
    heights of the face.

    Neighbouring places share readings and their noise is known from all of them; but a
    whole sweep may also be bent differently from the next, which only the numbers of
    whole sweeps show: the larger counts. single: mm that one pass may be off where no
    second one was made.
    """
    variance = max(float(sensitivity @ face.covariance @ sensitivity), 0.0)
    each = math.sqrt(variance / face.share)
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
    return PassScatter(
        between, groups, math.sqrt(total / variance) if variance > 0.0 else 1.0
    )


def _reverse(groups: Sequence[Sequence[Pass]], placements: int) -> Face:
    """Two placements by reversal; one by itself, where the straightedge stays in. A
    group beyond them was pressed."""
    every = [[p.kept for p in group] for group in groups]
    pairs, both = every[:placements], placements == 2
    step = _step([pair for group in pairs for pair in group])
    found = reverse_sweeps(pairs[0], pairs[-1], step=step, window=WINDOW)
    covariance, freedom = found.covariance, found.degrees_of_freedom or 1.0
    if covariance is None:
        covariance = np.zeros((found.x.size,) * 2)
    # every sweep stood in for its own reverse: half the noise, twice the evidence
    if not both:
        covariance, freedom = 2.0 * covariance, freedom / 2.0
    lines = [[averaged(x, y, found.x) for x, y in group] for group in every]
    return Face(
        found.x,
        found.face,
        found.straightedge if both else None,
        covariance,
        freedom,
        (0.5, 0.5) if both else (1.0,),
        lines[:placements],
        count=0.0,
        span=0.0,
        pressed=[line for group in lines[placements:] for line in group],
    )


def _step(pairs: Sequence[tuple[Array, Array]]) -> float:
    """The distance of evenly spaced stations, far enough apart to be no sweep; else
    that of the profile."""
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
    return float(apart.mean()) * (1.0 + 1e-9) if even and same else PROFILE_STEP


def _disturbed(
    face: Face,
    groups: Sequence[Sequence[Pass]],
    placements: Sequence[str],
    remarks: list[Remark],
) -> set[int]:
    """`id` of the passes that stand out from the others of their placement: a bumped
    stand, a pressed zero."""
    out: set[int] = set()
    every = [*face.lines, face.pressed] if face.pressed else face.lines
    for name, lines, group in zip(placements, every, groups, strict=True):
        if len(lines) < 2:
            continue
        middle = np.median(lines, axis=0) if len(lines) > 2 else np.mean(lines, axis=0)
        away = np.array([float(np.max(np.abs(line - middle))) for line in lines])
        odd = int(np.argmax(away))
        usual = float(np.median(np.delete(away, odd)))
        where = float(face.x[int(np.argmax(np.abs(lines[odd] - middle)))])
        if len(lines) > 2 and away[odd] > max(STANDS_OUT * usual, 0.01):
            out.add(id(group[odd]))
            why = refusal("pass-disturbed", apart=float(away[odd]), near=where)
            remarks.append(refusal_of(why, group[odd].trace, group[odd].number))
        elif len(lines) == 2 and away[odd] > 0.01:
            apart = float(2 * away[odd])
            remarks.append(warning("two-differ", name, apart=apart, near=where))
    return out
