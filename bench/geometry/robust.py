"""Straight lines through points some of which are dirt: high-breakdown start,
redescending fit.

Sources: Rousseeuw and Leroy (1987), Robust Regression and Outlier Detection (least
quantile of squares); Beaton and Tukey (1974), Technometrics 16, 147 (bisquare). Shapes:
x, y, weights (n,); lines are (intercept, slope).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# makes the median absolute deviation a normal standard deviation
MAD = 1.482602218505602
TUNING = 4.685  # scales: 95 % as sharp as least squares on normal noise (same source)


# share of the travel: two points nearer than this are one, and show no slope
LEAST_APART = 1e-12


def least_quantile(
    x: Array, y: Array, quantile: float = 0.55, most: int = 24
) -> tuple[float, float]:
    """The line through two points whose `quantile` of absolute residuals is least:
    (intercept, slope).

    All pairs far enough apart of at most `most` block medians are tried, residuals are
    those of every point. x in rising order.
    """
    bx, by = _block_medians(x, y, most)
    i, j = np.triu_indices(bx.size, max(1, bx.size // 4))
    use = bx[j] - bx[i] > LEAST_APART * (bx[-1] - bx[0])
    i, j = i[use], j[use]
    slopes = (by[j] - by[i]) / (bx[j] - bx[i])
    # for each slope the best intercept: the middle of the shortest stretch that holds
    # the quantile
    rx, ry = _block_medians(x, y, 2 * most)
    left = np.sort(ry[None, :] - slopes[:, None] * rx[None, :], axis=1)
    hold = max(2, int(np.ceil(quantile * rx.size)))
    widths = left[:, hold - 1 :] - left[:, : rx.size - hold + 1]
    best = np.unravel_index(int(np.argmin(widths)), widths.shape)
    low = left[best[0], best[1]]
    return float(low) + float(widths[best]) / 2, float(slopes[best[0]])


def least_quantile_bow(x: Array, y: Array) -> Array:
    """The same with a bow: values at x of the parabola through three of 15 block
    medians whose 60 % quantile is least, x rising."""
    bx, by = _block_medians(x, y, 15)
    i, j, k = (
        index.ravel() for index in np.meshgrid(*[np.arange(bx.size)] * 3, indexing="ij")
    )
    use = (j - i >= 2) & (k - j >= 2) & (k - i >= bx.size // 2)
    i, j, k = i[use], j[use], k[use]
    first = (by[j] - by[i]) / (bx[j] - bx[i])
    second = ((by[k] - by[j]) / (bx[k] - bx[j]) - first) / (bx[k] - bx[i])
    rx, ry = _block_medians(x, y, 45)

    def shape(at: Array, row: slice | int) -> Array:
        a, b = bx[i[row]], bx[j[row]]
        along = np.atleast_1d(a)[:, None]
        value: Array = np.atleast_1d(first[row])[:, None] * (
            at - along
        ) + np.atleast_1d(second[row])[:, None] * (at - along) * (
            at - np.atleast_1d(b)[:, None]
        )
        return value

    left = np.sort(ry[None, :] - shape(rx, slice(None)), axis=1)
    hold = int(np.ceil(0.6 * rx.size))
    widths = left[:, hold - 1 :] - left[:, : rx.size - hold + 1]
    row, column = np.unravel_index(int(np.argmin(widths)), widths.shape)
    middle = float(left[row, column] + widths[row, column] / 2)
    bowed: Array = shape(x, int(row))[0] + middle
    return bowed


def _block_medians(x: Array, y: Array, most: int) -> tuple[Array, Array]:
    if x.size <= most:
        return x, y
    size = x.size // most
    # a few readings too many are passed over
    take = np.linspace(0, x.size - 1, size * most).astype(np.intp)
    return x[take].reshape(most, size).mean(axis=1), np.median(
        y[take].reshape(most, size), axis=1
    )


def scale_of(residuals: Array) -> float:
    """Median absolute residual as a normal standard deviation; about zero, not about
    the median."""
    return MAD * float(np.median(np.abs(residuals)))


def redescend(
    design: Array,
    y: Array,
    fitted: Array,
    rounds: int,
    floor: float,
) -> tuple[Array, float]:
    """Tukey's bisquare fit by reweighting, its scale taken anew every round:
    (coefficients (m,), scale).

    design: (n, m). fitted: (n,) values of the start, which decides what counts as dirt.
    floor: least scale, more than 0.
    """
    beta: Array = np.zeros(design.shape[1])
    left = y - fitted
    scale = max(scale_of(left), floor)
    for _ in range(rounds):
        u = left / (TUNING * scale)
        weighted = design * np.where(np.abs(u) < 1, (1 - u * u) ** 2, 0.0)[:, None]
        was = beta
        beta = np.linalg.solve(weighted.T @ design, weighted.T @ y).astype(
            np.float64, copy=False
        )
        left = y - design @ beta
        scale = max(scale_of(left), floor)
        if np.allclose(beta, was, rtol=1e-12, atol=0):
            break
    return beta, scale
