"""Wobble of a plate read at one radius while it is turned by hand: total, tilt, warp
and where.

Turns in rad, readings in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.geometry.columns import Array, Column, GeometryError, column, distinct

FULL_TURN = 2.0 * np.pi
# turns from which a second harmonic is fitted, and a third
FEWEST_FOR = {2: 5, 3: 8}
FEWEST_LEFT = 3  # degrees of freedom that must then be left, repeats among them
# times the noise, from which what a curve leaves is form; about the 5 % point of F for
# three and eight degrees of freedom
MISFIT = 4.0
# places of the turn at which the curve is looked at for its extremes
CURVE_POINTS = 720
UNKNOWN_PHASE = np.pi / np.sqrt(3.0)  # rad: a phase of which nothing is known


@dataclass(frozen=True)
class Wobble:
    """The wobble of a plate at the radius it was read at.

    total: range of the fitted curve over the whole turn, mm; where no second harmonic
    is fitted the larger of tilt and of the readings' range. tilt: full swing of the
    first harmonic (twice its amplitude), mm. phase: the turn, 0 <= phase < 2 pi, where
    the first harmonic is largest. warp: range of the curve without the first harmonic,
    mm; where no other is fitted of what that one leaves. u_*: their standard
    uncertainties, None where nothing tells the noise (three turns read once each).
    degrees_of_freedom: of those. turns: number of different turns. harmonics: so many
    were fitted. turning_known: whether the uncertainties hold what differs from one
    turning to the next.
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
    harmonics: int
    turning_known: bool


@dataclass(frozen=True)
class _Marks:
    """turns: (m,) rad, ascending. means: (m,) mm. counts: (m,) repeats at each.
    squares: of the repeats about their mark's mean, mm^2; repeats: their degrees of
    freedom. again: whether a repeat is another turning to the mark, and not another
    reading on the same one."""

    turns: Array
    means: Array
    counts: Array
    squares: float
    repeats: int
    again: bool

    @property
    def noise(self) -> float:
        """mm^2, of a mark's mean as the repeats show it; 0 without any."""
        each = self.squares / self.repeats if self.repeats else 0.0
        return each * float(np.mean(1.0 / self.counts))


@dataclass(frozen=True)
class _Fit:
    """found: (p,) coefficients. covariance: (p, p) mm^2. left: (m,) mm."""

    found: Array
    covariance: Array
    left: Array
    freedom: float


def wobble(turns: Column, readings: Column) -> Wobble:
    """Least-squares harmonics of readings at marks round a plate.

    turns: (n,) rad, in any order, evenly spaced or not, each read once or more; a whole
    turn more is the same mark turned to once more.
    readings: (n,) mm of displacement along X. Readings at one turn are averaged first,
    each mark then counting alike. From FEWEST_FOR turns on a second harmonic is fitted
    beside the first, and a third, where FEWEST_LEFT degrees of freedom are left: warp
    is then no noise, and the total is that of the curve, its peaks between the marks
    among it.
    A squared amplitude is less by what noise adds to it. Noise: the scatter of marks
    that were turned to again and what the curve leaves, pooled unless the latter is far
    larger. Readings on one turning share the hand's turn and the arbor's float: they
    show no more than the least that the noise can be. With fewer turns
    the first harmonic alone is fitted, and a warp counts as noise. The phase has no
    meaning, and its uncertainty is pi / sqrt(3), where the tilt is lost in its own
    noise. Raises GeometryError under three different turns, or where all lie so that no
    harmonic can be told. Source: linear least squares with sines and cosines, e.g. IEEE
    Std 1057 sine fit; standard uncertainties by JCGM 100:2008, 5.1.
    """
    marks = _marks(column("turns", turns), column("readings", readings))
    for harmonics in (3, 2):
        if _enough(marks, harmonics):
            return _of_curve(marks, harmonics)
    design = _design(marks.turns, 1)
    if np.linalg.cond(design) > 1e4:
        raise GeometryError(
            "the turns lie too close together to tell a tilt: spread them round the"
            " plate"
        )
    return _of_first(marks, design)


def _marks(angles: Array, values: Array) -> _Marks:
    turnings, member = distinct(np.asarray(np.round(angles, 9), dtype=np.float64))
    readings = np.bincount(member)
    values_of = np.bincount(member, values) / readings
    squares = float(np.sum((values - values_of[member]) ** 2))
    repeats = int(values.size - turnings.size)
    angles = np.asarray(np.round(np.mod(turnings, FULL_TURN), 8), dtype=np.float64)
    angles[angles >= round(FULL_TURN, 8)] = 0.0
    turns, mark = distinct(angles)
    counts = np.bincount(mark)
    if turns.size < 3:
        raise GeometryError(
            f"{turns.size} different turns: a tilt needs three at least"
        )
    means = np.bincount(mark, values_of) / counts
    again = turnings.size > turns.size
    if again:
        squares = float(np.sum((values_of - means[mark]) ** 2))
        repeats = int(turnings.size - turns.size)
    else:
        counts = readings[np.argsort(angles, kind="stable")]
    return _Marks(turns, means, counts.astype(np.float64), squares, repeats, again)


def _design(turns: Array, harmonics: int) -> Array:
    """(m, 1 + 2 harmonics): one, then cosine and sine of each harmonic."""
    columns = [np.ones(turns.size)]
    for k in range(1, harmonics + 1):
        columns += [np.cos(k * turns), np.sin(k * turns)]
    return np.column_stack(columns)


def _of_curve(marks: _Marks, harmonics: int) -> Wobble:
    fit = _fit_curve(marks, _design(marks.turns, harmonics))
    tilt, u_tilt, phase, u_phase = _tilt(fit)
    clean = _less_noise(fit)
    total, u_total = _range(fit, clean)
    clean[1:3] = 0.0
    warp, u_warp = _range(fit, clean, without_first=True)
    sizes, spreads = (total, tilt, warp, phase), (u_total, u_tilt, u_warp, u_phase)
    known = marks.again or marks.turns.size - clean.size >= FEWEST_LEFT
    return Wobble(
        *sizes, *spreads, fit.freedom, int(marks.turns.size), harmonics, known
    )


def _enough(marks: _Marks, harmonics: int) -> bool:
    """Whether the marks tell so many harmonics apart, and leave enough to tell the
    noise by; of the third, which is small, no less than the noise of a turning."""
    number, fewest = marks.turns.size, FEWEST_FOR[harmonics]
    left = number - (1 + 2 * harmonics)
    if marks.again or harmonics < 3:
        left += marks.repeats
    told = number >= fewest and left >= FEWEST_LEFT
    return told and bool(np.linalg.cond(_design(marks.turns, harmonics)) < 1e3)


def _fit_curve(marks: _Marks, design: Array) -> _Fit:
    """Each mark counts alike; noise is that of repeats and misfit pooled, of the misfit
    alone where that is far larger, or larger than repeats on one turning."""
    inverse = np.linalg.pinv(design)
    found = inverse @ marks.means
    left = marks.means - design @ found
    misfit_dof = marks.turns.size - design.shape[1]
    misfit = float(left @ left) / misfit_dof if misfit_dof else 0.0
    variance, freedom = misfit, float(misfit_dof)
    if marks.again and marks.turns.size < FEWEST_FOR[3]:
        variance, freedom = marks.noise, float(marks.repeats)
    elif marks.repeats and misfit <= (MISFIT if marks.again else 1.0) * marks.noise:
        freedom += marks.repeats
        squares = misfit_dof * misfit + marks.repeats * marks.noise
        variance = squares / freedom
    return _Fit(found, variance * (inverse @ inverse.T), left, freedom)


def _tilt(fit: _Fit) -> tuple[float, float, float, float]:
    """Full swing of the first harmonic, its standard uncertainty, its phase and that
    one's."""
    pair, of_pair = fit.found[1:3], fit.covariance[1:3, 1:3]
    amplitude = float(np.hypot(*pair))
    phase = float(np.mod(np.arctan2(pair[1], pair[0]), FULL_TURN))
    towards = pair / amplitude if amplitude else np.array([1.0, 0.0])
    across = np.array([-towards[1], towards[0]])
    u_amplitude = float(np.sqrt(towards @ of_pair @ towards))
    u_across = float(np.sqrt(across @ of_pair @ across))
    u_phase = min(u_across / amplitude, UNKNOWN_PHASE) if amplitude else UNKNOWN_PHASE
    clean = float(np.hypot(*_less_noise(fit)[1:3]))
    phase = 0.0 if phase >= FULL_TURN else phase
    return 2.0 * clean, 2.0 * u_amplitude, phase, float(u_phase)


def _less_noise(fit: _Fit) -> Array:
    """The coefficients with each squared amplitude less by the noise of its sine and
    cosine, which is what noise adds to it on average."""
    clean = fit.found.copy()
    for at in range(1, clean.size, 2):
        square = float(clean[at : at + 2] @ clean[at : at + 2])
        noise = float(np.trace(fit.covariance[at : at + 2, at : at + 2]))
        share = max(0.0, square - noise) / square if square else 0.0
        clean[at : at + 2] *= np.sqrt(share)
    return clean


def _range(
    fit: _Fit, coefficients: Array, *, without_first: bool = False
) -> tuple[float, float]:
    """Range of a curve over the whole turn, peaks between the marks too, and its
    standard uncertainty."""
    looks = np.linspace(0.0, FULL_TURN, CURVE_POINTS, endpoint=False)
    rows = _design(looks, (coefficients.size - 1) // 2)
    if without_first:
        rows[:, 1:3] = 0.0
    curve = rows @ coefficients
    # where nothing is left of it, its extremes are those of the noise
    shown = curve if np.ptp(curve) > 0.0 else rows @ fit.found
    gradient = rows[int(np.argmax(shown))] - rows[int(np.argmin(shown))]
    u = float(np.sqrt(gradient @ fit.covariance @ gradient))
    return _crest(curve) + _crest(-curve), u


def _crest(curve: Array) -> float:
    """The largest value of a closed curve, by a parabola through its largest place and
    that one's neighbours."""
    at = int(np.argmax(curve))
    before, top, after = curve[at - 1], curve[at], curve[(at + 1) % curve.size]
    bend = before - 2.0 * top + after
    return float(top - (after - before) ** 2 / (8.0 * bend) if bend < 0.0 else top)


def _of_first(marks: _Marks, design: Array) -> Wobble:
    """The first harmonic alone: what it leaves is the warp, and noise where nothing was
    read twice."""
    inverse = np.linalg.pinv(design)
    found: Array = np.asarray(inverse @ marks.means, dtype=np.float64)
    residual = marks.means - design @ np.array([0.0, *found[1:]])
    residual -= residual.mean()
    left = marks.turns.size - 3
    left_square = float(residual @ residual) / left if left else 0.0
    freedom = float(marks.repeats or left)
    variance = np.full(marks.turns.size, left_square)
    if marks.repeats:
        variance = marks.squares / marks.repeats / marks.counts
    leak = variance
    if marks.repeats and not _even(marks.turns):
        leak = variance + max(0.0, left_square - float(variance.mean()))
    fit = _Fit(found, (inverse * leak) @ inverse.T, residual, freedom)
    _, u_tilt, phase, u_phase = _tilt(fit)
    amplitude = float(np.hypot(*found[1:]))
    high, low = int(np.argmax(marks.means)), int(np.argmin(marks.means))
    crest, dip = int(np.argmax(residual)), int(np.argmin(residual))
    remainder = np.eye(marks.turns.size) - design @ inverse
    rest = remainder[crest] - remainder[dip]
    known = freedom > 0.0
    return Wobble(
        total=max(float(marks.means[high] - marks.means[low]), 2.0 * amplitude),
        tilt=2.0 * amplitude,
        warp=float(residual[crest] - residual[dip]),
        phase=phase,
        u_total=float(np.sqrt(variance[high] + variance[low])) if known else None,
        u_tilt=u_tilt if known else None,
        u_warp=float(np.sqrt(np.sum(rest**2 * variance))) if known else None,
        u_phase=u_phase if known else None,
        degrees_of_freedom=freedom,
        turns=int(marks.turns.size),
        harmonics=1,
        turning_known=marks.again or (left > 0 and not marks.repeats),
    )


def _even(marks: Array) -> bool:
    gaps = np.diff(np.concatenate((marks, [marks[0] + FULL_TURN])))
    return bool(np.ptp(gaps) < 1e-3)
