"""The curvature of passes over a square's arm, and the shift of the stand along the arm
between the set-ups.

Travel and reading in mm. Readings that were set aside as dirt are left out by the
caller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.geometry.cells import Array, into_cells
from bench.geometry.columns import distinct, legendre, paired

TEXTURE_GRID = 1.0  # mm between the places at which two textures are compared
FARTHEST = 80  # grid steps that a stand is looked for to either side
LEAST_SHARED = 0.6  # of the shorter pass must be seen by both
SMOOTH = 2.0  # mm, standard deviation of the kernel that takes off the readings' noise
# mm, scale of a stand set down anew beside an arm without a mark to start from;
# Student's t of SET_DOWN_DOF, since a slip of the hand is larger; common practice, no
# source
SET_DOWN = 10.0
SET_DOWN_DOF = 3.0
# share of arms that show another texture from the other set-up: another edge, dirt;
# common practice, no source
OTHER_EDGE = 0.05
# mm, standard deviation from which the texture tells no more than the hand that set the
# stand down
VAGUE = 0.8 * SET_DOWN
RELATED = 40  # grid steps: farther apart no texture resembles itself
# mm, standard deviation; less is what readings rounded to 0.001 mm leave
LEAST_TEXTURE = 2e-4
WIDEST_GAP = 10.0  # mm without a reading; wider ones hide a texture


@dataclass(frozen=True, slots=True)
class Bend:
    """Second derivative of one pass's readings by its travel, 1/mm, with the standard
    uncertainty that its own residuals give it."""

    value: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class Shift:
    """mm by which the second texture lies further along its travel than the first, with
    its standard uncertainty."""

    distance: float
    standard_uncertainty: float


def bend_of(travel: npt.ArrayLike, reading: npt.ArrayLike) -> Bend | None:
    """The parabola through one pass by least squares over equal cells of travel.

    travel, reading: (N,) mm. None with fewer than five places.
    """
    s, r = _columns(travel, reading)
    if np.unique(s).size < 5:
        return None
    cells = into_cells(s, r)
    half = (cells.travel[-1] - cells.travel[0]) / 2
    basis = legendre(cells.travel, 2)
    inverse = np.linalg.inv(basis.T @ basis)
    coefficients = inverse @ (basis.T @ cells.reading)
    left = cells.reading - basis @ coefficients
    variance = float(left @ left) / max(left.size - 3, 1) * float(inverse[2, 2])
    # the second Legendre polynomial, (3 u^2 - 1) / 2, has the second derivative 3
    scale = 3 / half**2
    return Bend(float(coefficients[2]) * scale, float(np.sqrt(variance)) * scale)


def bend_of_speed(travel: npt.ArrayLike, at: npt.ArrayLike) -> float:
    """Second derivative of a pass's speed by its travel, 1/(mm s).

    A reading that is tau s late on a surface of rotation b is off by b tau times the
    speed, so that it bends by b tau times this. travel: (N,) mm; at: (N,) s. 0.0 where
    no speed is seen.
    """
    s, t = np.asarray(travel, dtype=np.float64), np.asarray(at, dtype=np.float64)
    reach = max(1, s.size // 30)
    if s.size < 3 * reach:
        return 0.0
    took = t[2 * reach :] - t[: -2 * reach]
    way = s[2 * reach :] - s[: -2 * reach]
    seen = took > 0
    bend = bend_of(s[reach:-reach][seen], way[seen] / took[seen])
    return 0.0 if bend is None else bend.value


def texture_shift(
    first: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
    second: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
) -> Shift | None:
    """The shift of the texture of the second set-up's passes along the travel against
    that of the first.

    Each pass is (travel, reading), mm. The mean residuals from a parabola are compared
    at every shift up to FARTHEST. Two textures of one edge that correlate by r leave
    1 - r^2 of the variance unexplained; with n independent places that makes a shift
    (1 - r^2)^(-n/2) times as likely as one at which they are strangers, beside how
    likely a hand sets the stand down there. The answer is the mean over all shifts
    (Hoeting et al. (1999), Statistical Science 14, 382). n: Bartlett (1946), Supplement
    to the Journal of the Royal Statistical Society 8, 27. None where no shift stands
    out: a smooth arm, counts far coarser than it, another edge.
    """
    ours, theirs = _texture(first), _texture(second)
    if ours is None or theirs is None:
        return None
    (begin, one), (start, two) = ours, theirs
    if min(np.std(one), np.std(two)) < LEAST_TEXTURE:
        return None
    # place k of the first is compared with place k + lag of the second
    lags = np.arange(-FARTHEST, FARTHEST + 1) - round((start - begin) / TEXTURE_GRID)
    low, high = np.maximum(0, -lags), np.minimum(one.size, two.size - lags)
    enough = high - low >= LEAST_SHARED * min(one.size, two.size)
    if not enough.any():
        return None
    lags, low, high = lags[enough], low[enough], high[enough]
    r = np.array(
        [
            _correlation(one[a:b], two[a + lag : b + lag])
            for lag, a, b in zip(lags, low, high, strict=True)
        ]
    )
    related = 1 + 2 * float(_related(one) @ _related(two))
    independent = (high - low) / max(related, 1.0)
    likely = np.power(1 - np.clip(r, 0.0, 0.999) ** 2, -independent / 2)
    shifts = lags * TEXTURE_GRID + start - begin
    by_hand = (1 + (shifts / SET_DOWN) ** 2 / SET_DOWN_DOF) ** (-(SET_DOWN_DOF + 1) / 2)
    p = by_hand * (OTHER_EDGE + (1 - OTHER_EDGE) * likely)
    p /= p.sum()
    mean = float(p @ shifts)
    spread = float(np.sqrt(p @ (shifts - mean) ** 2 + TEXTURE_GRID**2 / 12))
    return Shift(mean, spread) if spread < VAGUE else None


def _texture(
    passes: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
) -> tuple[float, Array] | None:
    """The begin of the stretch that all passes share, and the mean residual at each
    place of a grid from there."""
    columns = [_columns(s, r) for s, r in passes]
    if not columns or any(s.size < 40 for s, _ in columns):
        return None
    low, high = max(s.min() for s, _ in columns), min(s.max() for s, _ in columns)
    if high - low < 20 * TEXTURE_GRID:
        return None
    edges = np.arange(low, high, TEXTURE_GRID)
    lines = []
    for s, r in columns:
        places, index = distinct(s)
        level = np.bincount(index, r) / np.bincount(index)
        if np.diff(places).max() > WIDEST_GAP:
            return None
        lines.append(_bare(np.interp(edges, places, level)))
    # a grain that lay there once counts for no more than the noise of a reading
    middle = np.median(lines, axis=0)
    usual = 1.4826 * float(np.median(np.abs(lines - middle)))
    mean = middle + np.mean(np.clip(lines - middle, -2 * usual, 2 * usual), axis=0)
    reach = int(3 * SMOOTH / TEXTURE_GRID)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * TEXTURE_GRID / SMOOTH) ** 2)
    smooth = np.convolve(mean, kernel, "same")
    smooth /= np.convolve(np.ones(edges.size), kernel, "same")
    return float(low), _bare(smooth)


def _bare(line: Array) -> Array:
    """Less its own parabola."""
    u = np.linspace(-1, 1, line.size)
    return line - np.polyval(np.polyfit(u, line, 2), u)


def _related(texture: Array) -> Array:
    """Correlation of a texture with itself at each grid step up to RELATED."""
    n = texture.size
    whole = float(texture @ texture) or 1.0
    return (
        np.array([float(texture[k:] @ texture[: n - k]) for k in range(1, RELATED)])
        / whole
    )


def _correlation(a: Array, b: Array) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0 else 0.0


def _columns(travel: npt.ArrayLike, reading: npt.ArrayLike) -> tuple[Array, Array]:
    s, r = paired(travel, reading, at_least=0)
    order = np.argsort(s, kind="stable")
    return s[order], r[order]
