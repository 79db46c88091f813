"""Wobble of a plate read at one radius while it is turned by hand: total, tilt, warp
and where.

Turns in rad, readings in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.geometry.reversal import Array, Column, GeometryError, column

FULL_TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Wobble:
    """What a turned plate shows at the radius it was read at.

    total: range of the readings, mm. tilt: full swing of the first harmonic (twice its
    amplitude), mm. phase: the turn, 0 <= phase < 2 pi, where the first harmonic is
    largest. warp: range of what is left, mm. u_*: their standard uncertainties, None
    where nothing tells the noise (three turns read once each). degrees_of_freedom: of
    those. turns: number of different turns. Noise widens total and warp: a flat plate
    read with noise has the range of the noise.
    """

    total: float
    tilt: float
    warp: float
    phase: float
    u_total: float | None
    u_tilt: float | None
    u_warp: float | None
    u_phase: float | None
    degrees_of_freedom: float
    turns: int


def wobble(turns: Column, readings: Column) -> Wobble:
    """Least-squares first harmonic of readings at marks round a plate.

    turns: (n,) rad, in any order, evenly spaced or not, each read once or more.
    readings: (n,) mm of displacement along X. Readings at one turn are averaged first,
    each turn then counting alike. Noise: the scatter of repeats about their turn's
    mean, pooled; without repeats what the harmonic leaves, with (turns - 3) degrees of
    freedom, which counts warp as noise. On unevenly spaced turns a warp leaks into the
    tilt, so there what it leaves beyond the repeats is added. The phase has no meaning,
    and its uncertainty is pi / sqrt(3), where the tilt is lost in its own noise. Raises
    GeometryError under three different turns, or where all lie so that no harmonic can
    be told. Source: linear least squares with sine and cosine, e.g. IEEE Std 1057
    three-parameter sine fit; standard uncertainties by JCGM 100:2008, 5.1.
    """
    angles, values = column("turns", turns), column("readings", readings)
    if angles.size != values.size:
        raise GeometryError(
            f"{angles.size} turns but {values.size} readings: give one reading for each"
            " turn"
        )
    angles = np.asarray(np.round(np.mod(angles, FULL_TURN), 9), dtype=np.float64)
    angles[angles >= round(FULL_TURN, 9)] = 0.0
    marks, member, count = np.unique(angles, return_inverse=True, return_counts=True)
    member = member.reshape(-1)
    if marks.size < 3:
        raise GeometryError(
            f"{marks.size} different turns: a tilt needs three at least"
        )
    means = np.bincount(member, values) / count
    design = np.column_stack((np.ones(marks.size), np.cos(marks), np.sin(marks)))
    if np.linalg.cond(design) > 1e4:
        raise GeometryError(
            "the turns lie too close together to tell a tilt: spread them round the"
            " plate"
        )
    inverse = np.linalg.pinv(design)
    _, along, across = inverse @ means
    residual = means - design @ np.array([0.0, along, across])
    residual -= residual.mean()
    amplitude = float(np.hypot(along, across))
    phase = float(np.mod(np.arctan2(across, along), FULL_TURN))
    phase = 0.0 if phase >= FULL_TURN else phase

    repeats = values.size - marks.size
    left = marks.size - 3
    left_square = float(residual @ residual) / left if left else 0.0
    if repeats:
        single = float(np.sum((values - means[member]) ** 2)) / repeats
        variance = single / count
        freedom = float(repeats)
    else:
        variance = np.full(marks.size, left_square)
        freedom = float(left)
    leak = variance
    if repeats and not _even(marks):
        leak = variance + max(0.0, left_square - float(variance.mean()))
    high, low = int(np.argmax(means)), int(np.argmin(means))
    crest, dip = int(np.argmax(residual)), int(np.argmin(residual))
    towards = (
        (inverse[1] * along + inverse[2] * across) / amplitude
        if amplitude
        else inverse[1]
    )
    sideways = (
        (inverse[2] * along - inverse[1] * across) / amplitude
        if amplitude
        else inverse[2]
    )
    remainder = np.eye(marks.size) - design @ inverse
    rest = remainder[crest] - remainder[dip]
    u_amplitude = float(np.sqrt(np.sum(towards**2 * leak)))
    u_sideways = float(np.sqrt(np.sum(sideways**2 * leak)))
    lost = np.pi / np.sqrt(3.0)
    known = freedom > 0.0
    return Wobble(
        total=float(means[high] - means[low]),
        tilt=2.0 * amplitude,
        warp=float(residual[crest] - residual[dip]),
        phase=phase,
        u_total=float(np.sqrt(variance[high] + variance[low])) if known else None,
        u_tilt=2.0 * u_amplitude if known else None,
        u_warp=float(np.sqrt(np.sum(rest**2 * variance))) if known else None,
        u_phase=(
            (min(u_sideways / amplitude, lost) if amplitude else lost)
            if known
            else None
        ),
        degrees_of_freedom=freedom,
        turns=int(marks.size),
    )


def _even(marks: Array) -> bool:
    gaps = np.diff(np.concatenate((marks, [marks[0] + FULL_TURN])))
    return bool(np.ptp(gaps) < 1e-3)
