"""A straight line through cells whose errors are correlated along the travel, with a
standard error that allows for it.

Neighbouring cells share form and texture: their errors are taken as a Gaussian process,
white noise (falling with the readings in a cell) plus a part whose correlation fades
exponentially over a reach, plus, where the readings ask for it, smooth form (the low
Legendre orders, which leave the slope alone). Reach, share and form are not known, so
the answer is averaged over a grid, each by how well it explains the residuals
(restricted likelihood: Patterson and Thompson (1971), Biometrika 58, 545; averaging:
Hoeting et al. (1999), Statistical Science 14, 382). A step is one more column, judged
by the same evidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

REACHES = (0.015, 0.03, 0.06, 0.12, 0.25)  # of the sweep
# related over white noise at the lowest frequencies, where it counts
LOW_ENDS = (1.5, 8.0, 40.0, 200.0)
WHITE_PRIOR = 0.65  # probability beforehand that the errors are white; no source
FORMS: tuple[tuple[int, ...], ...] = ((), (2,), (2, 3, 4))
# prior variance of a form's coefficient over the noise variance of a cell
FORM_SIZE2 = 1000.0
STEP_SIZE2 = 300.0
FEWEST_FOR_RELATED = 15  # cells
FEWEST_FOR_FORM = 20  # cells, or places, from which form is told from noise


@dataclass(frozen=True, slots=True)
class FittedLine:
    """step: natural logarithm of the evidence for a step over none, with its place and
    size."""

    intercept: float
    slope: float
    standard_uncertainty: float
    degrees_of_freedom: float
    step: float = -np.inf
    step_at: float = 0.0
    step_size: float = 0.0


def fit_line(x: Array, y: Array, n: Array) -> FittedLine:
    """x, y, n: (K,) travel, reading and number of readings of each cell, x rising, K >=
    3."""
    middle = 0.5 * (x[0] + x[-1])
    half = 0.5 * (x[-1] - x[0])
    u = (x - middle) / half
    centre = float(np.mean(y))
    spread = float(np.sqrt(np.mean((y - np.polyval(np.polyfit(u, y, 1), u)) ** 2)))
    if spread <= 1e-12 * max(1.0, abs(centre)):
        slope, level = np.polyfit(u, y, 1).tolist()
        freedom = float(max(x.size - 2, 1))
        return FittedLine(level - slope / half * middle, slope / half, 0.0, freedom)
    v = (y - centre) / spread
    forms = FORMS if x.size >= FEWEST_FOR_FORM else FORMS[:1]
    legendre = np.polynomial.legendre.legvander(u, 4) * np.sqrt(2 * np.arange(5) + 1)
    edge = max(3, x.size // 12)
    cuts = np.arange(edge, x.size - edge + 1 if len(forms) > 1 else edge)
    steps = np.where(np.arange(x.size)[:, None] >= cuts[None, :], 0.5, -0.5)
    columns = np.column_stack([legendre, steps, v])
    noise = _grams(u, n, columns, x.size >= FEWEST_FOR_RELATED)
    found = [_fit_with_form(noise, form, x.size, cuts.size) for form in forms]
    logs, slopes, levels, variances, step_logs, step_sizes = (
        np.concatenate(column) for column in zip(*found, strict=True)
    )
    best = float(logs.max())
    p = np.exp(logs - best)
    total = float(p.sum())
    p /= total
    slope = float(p @ slopes)
    apart = float(p @ (slopes - slope) ** 2)
    # how far apart the candidates' standard errors are, as that of a variance on so
    # many degrees of freedom
    logarithm = np.log(np.maximum(variances, 1e-300))
    variance = float(np.exp(p @ logarithm))
    dof = 2 / (float(p @ (logarithm - p @ logarithm) ** 2) + 2 / (x.size - 2))
    scale = spread / half
    line = (
        centre + spread * float(p @ levels) - slope * scale * middle,
        slope * scale,
        float(np.sqrt(variance + apart)) * scale,
        max(dof, 1.0),
    )
    if not cuts.size:
        return FittedLine(*line)
    sums = np.exp(step_logs - best).sum(axis=0)
    cut = int(np.argmax(sums))
    step = float(np.log(max(float(sums[cut]), 1e-300) / total))
    where = float(0.5 * (x[cuts[cut] - 1] + x[cuts[cut]]))
    size = float(step_sizes[int(np.argmax(step_logs[:, cut])), cut]) * spread
    return FittedLine(*line, step, where, size)


def _fit_with_form(
    noise: tuple[Array, Array, Array], form: tuple[int, ...], k: int, cuts: int
) -> tuple[Array, ...]:
    """One form beside the line, under each of the G noises: evidence, slope, level and
    variance of the slope, (G,); evidence and size of a step at each of the C cuts,
    (G, C). noise: of `_grams`. k: cells."""
    gram, logdet, prior = noise
    last = gram.shape[1] - 1
    index = np.array([0, 1, *form])
    ridge = np.diag([0.0, 0.0] + [1 / FORM_SIZE2] * len(form))
    inverse = np.linalg.inv(gram[:, index[:, None], index[None, :]] + ridge)
    right = gram[:, index, last]
    beta = np.einsum("gij,gj->gi", inverse, right)
    left2 = np.maximum(gram[:, last, last] - np.einsum("gi,gi->g", right, beta), 1e-12)
    logs = (
        prior
        - 0.5 * logdet
        + 0.5 * np.linalg.slogdet(inverse)[1]
        - 0.5 * len(form) * np.log(FORM_SIZE2)
        - 0.5 * (k - 2) * np.log(left2)
    )
    at = np.arange(5, 5 + cuts)
    cross = gram[:, at[:, None], index[None, :]]
    top = gram[:, at, last] - (cross @ beta[:, :, None])[:, :, 0]
    own = gram[:, at, at] - ((cross @ inverse) * cross).sum(axis=2)
    gain = STEP_SIZE2 * top**2 / (1 + STEP_SIZE2 * own)
    explained = np.log(np.maximum(1 - gain / left2[:, None], 1e-12))
    return (
        logs,
        beta[:, 1] * np.sqrt(3),
        beta[:, 0],
        left2 / (k - 2) * inverse[:, 1, 1] * 3,
        logs[:, None] - 0.5 * np.log1p(STEP_SIZE2 * own) - 0.5 * (k - 2) * explained,
        STEP_SIZE2 * top / (1 + STEP_SIZE2 * own),
    )


def _grams(
    u: Array, n: Array, columns: Array, related: bool
) -> tuple[Array, Array, Array]:
    """Gram matrices of the whitened columns (G, m, m), log determinants (G,) and log
    priors (G,)."""
    white = float(n.mean()) / n
    grid = [(0.0, 1.0)]
    if related:
        grid += [
            (low / (low + 2 * reach * u.size), reach)
            for reach in REACHES
            for low in LOW_ENDS
        ]
    share, reach = np.array(grid).T
    # a fading correlation is a first-order Markov process: a Kalman filter whitens it
    # in one pass
    fade = np.exp(-np.diff(u, append=u[-1])[:, None] / (2 * reach))
    hidden = share.copy()
    guess = np.zeros((share.size, columns.shape[1]))
    whitened = np.empty((u.size, *guess.shape))
    spreads = np.empty((u.size, share.size))
    for k in range(u.size):
        seen = hidden + (1 - share) * white[k]
        gain = hidden / seen
        spreads[k] = seen
        surprise = columns[k] - guess
        whitened[k] = surprise
        guess = fade[k][:, None] * (guess + gain[:, None] * surprise)
        hidden = share + fade[k] ** 2 * (hidden * (1 - gain) - share)
    whitened /= np.sqrt(spreads)[:, :, None]
    logdet = np.log(spreads).sum(axis=0)
    across = whitened.transpose(1, 0, 2)
    gram = across.transpose(0, 2, 1) @ across
    others = share.size - 1
    prior = np.full(share.size, (1 - WHITE_PRIOR) / max(others, 1))
    prior[0] = WHITE_PRIOR if others else 1.0
    return gram, logdet, np.log(prior)
