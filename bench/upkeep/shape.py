"""What a baseline period looks like: level, one step or a straight line, told apart by
AICc, with or without a part that follows moisture content.

Pure least squares in plain numbers. Times in days, moisture content in percent. AICc:
Hurvich and Tsai (1989), Biometrika 76(2), 297-307.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

Kind = Literal["level", "trend", "step"]
FEWEST_FOR_TREND = 5


class Sums(msgspec.Struct, frozen=True):
    """Sums of squares and products about a shape: of the value y, of moisture m.
    freedom: observations less the numbers that the shape takes, moisture's not."""

    yy: float
    my: float = 0.0
    mm: float = 0.0
    freedom: float = 0.0

    def residual(self) -> float:
        """Sum of squares that is left when the part that follows moisture is taken
        out."""
        left = self.yy - (self.my**2 / self.mm if self.mm > 0 else 0.0)
        return max(0.0, left)


class Shape(msgspec.Struct, frozen=True):
    """at: number of the first observation behind the step. slope: a day, and its sum of
    squares of time, of the line."""

    kind: Kind
    sums: Sums
    aicc: float
    at: int = 0
    slope: float = 0.0
    times: float = 0.0


def best_shape(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> Shape:
    """Of the three shapes the one with the lowest AICc. m: moisture content of each,
    None where it plays no part."""
    return min(shapes(t, y, m).values(), key=lambda shape: shape.aicc)


def shapes(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> dict[Kind, Shape]:
    """The shapes that so many observations can carry; `level` always. At least one."""
    n, wet = len(y), m is not None
    moisture = m if m is not None else [0.0] * n
    levels = _about_mean(y, moisture)
    found: dict[Kind, Shape] = {"level": _made("level", n, levels, 1, wet)}
    if n < FEWEST_FOR_TREND:
        return found
    line = _about_line(t, y, moisture)
    if line is not None:
        sums, slope, times = line
        found["trend"] = _made("trend", n, sums, 2, wet, slope=slope, times=times)
    parted = _about_step(y, moisture)
    if parted is not None:
        sums, at = parted
        # the place of the step is one number more
        found["step"] = _made("step", n, sums, 3, wet, at=at)
    return found


def _made(
    kind: Kind,
    n: int,
    sums: Sums,
    numbers: int,
    wet: bool,
    *,
    at: int = 0,
    slope: float = 0.0,
    times: float = 0.0,
) -> Shape:
    parameters = numbers + 1 + wet  # the scatter is one, moisture another
    spare = n - parameters - 1
    left = max(sums.residual(), 1e-300)
    aicc = math.inf
    if spare > 0:
        aicc = n * math.log(left / n) + 2 * parameters * n / spare
    elif kind == "level":
        aicc = 1e300  # where none can be judged it is taken
    sums = Sums(sums.yy, sums.my, sums.mm, max(0.0, float(n - numbers)))
    return Shape(kind, sums, aicc, at, slope, times)


def _about_mean(y: Sequence[float], m: Sequence[float]) -> Sums:
    n = len(y)
    y0, m0 = math.fsum(y) / n, math.fsum(m) / n
    return Sums(
        math.fsum((v - y0) ** 2 for v in y),
        math.fsum((v - y0) * (w - m0) for v, w in zip(y, m, strict=True)),
        math.fsum((w - m0) ** 2 for w in m),
    )


def _about_line(
    t: Sequence[float], y: Sequence[float], m: Sequence[float]
) -> tuple[Sums, float, float] | None:
    """Sums about the line in time, its slope beside moisture, and what time is left
    once moisture is taken out of it."""
    n = len(y)
    t0 = math.fsum(t) / n
    tt = math.fsum((d - t0) ** 2 for d in t)
    if tt <= 0:
        return None
    base = _about_mean(y, m)
    ty = math.fsum((d - t0) * v for d, v in zip(t, y, strict=True))
    tm = math.fsum((d - t0) * w for d, w in zip(t, m, strict=True))
    sums = Sums(
        max(0.0, base.yy - ty * ty / tt),
        base.my - ty * tm / tt,
        max(0.0, base.mm - tm * tm / tt),
    )
    free = tt - (tm * tm / base.mm if base.mm > 0 else 0.0)
    if free <= 1e-9 * tt:
        return None  # time and moisture went together: nothing tells them apart
    slope = (ty - (tm * base.my / base.mm if base.mm > 0 else 0.0)) / free
    return sums, slope, free


def _about_step(y: Sequence[float], m: Sequence[float]) -> tuple[Sums, int] | None:
    """The two levels that leave least, and where the second begins."""
    n = len(y)
    y0, m0 = math.fsum(y) / n, math.fsum(m) / n  # taken off for the digits' sake
    base = _about_mean(y, m)
    least, best = math.inf, 0
    taken = (0.0, 0.0, 0.0)
    sy = sm = 0.0
    for k in range(1, n):
        sy += y[k - 1] - y0
        sm += m[k - 1] - m0
        # what a level each takes off: the sums of the second are those of the first,
        # turned
        share = 1.0 / k + 1.0 / (n - k)
        yy, my, mm = sy * sy * share, sy * sm * share, sm * sm * share
        left = base.yy - yy
        if base.mm - mm > 0:
            left -= (base.my - my) ** 2 / (base.mm - mm)
        if left < least:
            least, best, taken = left, k, (yy, my, mm)
    if best == 0:
        return None
    yy, my, mm = taken
    return Sums(max(0.0, base.yy - yy), base.my - my, max(0.0, base.mm - mm)), best
