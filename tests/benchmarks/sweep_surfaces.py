"""Sweeps whose truth is known, one class of trouble each, for `fit_table.py` beside this file.

Every surface is made afresh: readings at even times, a sled pushed unevenly, a line, noise, form, dirt, counts.
May import: numpy. Lengths in mm, slopes in rad.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

LENGTH = 220.0
READINGS = 240
NOISE = 0.0015


@dataclass(frozen=True)
class Surface:
    """bound: the Cramer-Rao bound of the slope's standard deviation, true covariance, dirt left out."""

    travel: np.ndarray
    reading: np.ndarray
    truth: float
    bound: float
    count: float
    dirt: np.ndarray


def pushed(
    rng: np.random.Generator, n: int = READINGS, length: float = LENGTH, uneven: float = 0.25
) -> np.ndarray:
    t = np.linspace(0, 1, n)
    speed = 1 + uneven * np.sin(2 * np.pi * (rng.uniform(0.5, 3) * t + rng.uniform()))
    s = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
    return np.round(s / s[-1] * length, 2)


def bound_of(travel: np.ndarray, covariance: np.ndarray) -> float:
    """Standard deviation of the best unbiased slope under this covariance (vector: independent readings)."""
    design = np.column_stack([np.ones_like(travel), travel - travel.mean()])
    if covariance.ndim == 1:
        information = design.T @ (design / covariance[:, None])
    else:
        information = design.T @ np.linalg.solve(covariance, design)
    return float(np.sqrt(np.linalg.inv(information)[1, 1]))


def related(
    rng: np.random.Generator, travel: np.ndarray, size: float, reach: float
) -> tuple[np.ndarray, np.ndarray]:
    """Texture with exponential covariance: a draw and its covariance."""
    covariance = size**2 * np.exp(-np.abs(travel[:, None] - travel[None, :]) / reach)
    jitter = 1e-9 * size**2 * np.eye(travel.size)
    return np.linalg.cholesky(covariance + jitter) @ rng.standard_normal(travel.size), covariance


def _made(
    rng: np.random.Generator,
    travel: np.ndarray,
    *,
    noise: float = NOISE,
    count: float = 0.001,
    texture: float = 0.0,
    reach: float = 5.0,
    form: np.ndarray | float = 0.0,
    dirt: np.ndarray | None = None,
) -> Surface:
    truth = rng.uniform(-6e-4, 6e-4)
    values = rng.uniform(1, 3) + truth * travel + rng.normal(0, noise, travel.size) + form
    white = np.full(travel.size, noise**2 + count**2 / 12)
    dirty = np.zeros(travel.size) if dirt is None else dirt
    clean = dirty == 0
    covariance = white[clean]
    if texture:
        drawn, full = related(rng, travel, texture, reach)
        values = values + drawn
        covariance = (full + np.diag(white))[np.ix_(clean, clean)]
    values = np.round((values + dirty) / count) * count
    return Surface(travel, values, truth, bound_of(travel[clean], covariance), count, ~clean)


def clean(rng: np.random.Generator) -> Surface:
    return _made(rng, pushed(rng))


def coarse(rng: np.random.Generator) -> Surface:
    return _made(rng, pushed(rng), noise=0.003, count=0.01)


def texture(rng: np.random.Generator) -> Surface:
    return _made(rng, pushed(rng), texture=0.004, reach=5.0)


def long_texture(rng: np.random.Generator) -> Surface:
    return _made(rng, pushed(rng), texture=0.004, reach=15.0)


def stations(rng: np.random.Generator) -> Surface:
    return _made(rng, np.arange(8) * 25.0 + 25.0, noise=0.002)


def _runs(
    rng: np.random.Generator,
    n: int,
    runs: int,
    longest: int,
    shortest: int,
    low: float,
    high: float,
    edge: int,
) -> np.ndarray:
    dirt = np.zeros(n)
    side = rng.choice([-1.0, 1.0])
    for _ in range(runs):
        width = int(rng.integers(shortest, longest + 1))
        first = int(rng.integers(0, n - width))
        shape = np.ones(width)
        if edge:
            ramp = np.minimum(np.arange(1, width + 1), np.arange(width, 0, -1)) / edge
            shape = np.minimum(ramp, 1.0)
        dirt[first : first + width] = side * shape * np.exp(rng.uniform(np.log(low), np.log(high)))
    return dirt


def dust(rng: np.random.Generator) -> Surface:
    dirt = _runs(rng, READINGS, int(rng.integers(3, 7)), 8, 2, 0.006, 0.06, 0)
    return _made(rng, pushed(rng), dirt=dirt)


def shallow_gullets(rng: np.random.Generator) -> Surface:
    dirt = _runs(rng, READINGS, 2, 36, 18, 0.02, 0.06, 3)
    return _made(rng, pushed(rng), dirt=dirt)


def gullets(rng: np.random.Generator) -> Surface:
    dirt = _runs(rng, READINGS, 2, 36, 18, 0.2, 0.6, 3)
    return _made(rng, pushed(rng), dirt=dirt)


def dust_on_coarse(rng: np.random.Generator) -> Surface:
    dirt = _runs(rng, READINGS, int(rng.integers(2, 5)), 8, 2, 0.04, 0.2, 0)
    return _made(rng, pushed(rng), noise=0.003, count=0.01, dirt=dirt)


def dwell(rng: np.random.Generator) -> Surface:
    """The sled is held still for two thirds of the readings somewhere, still creeping, on a textured edge."""
    n = READINGS
    moving = pushed(rng, n)
    where = int(rng.integers(n // 10, n - n // 10))
    creep = moving[where] + np.sort(rng.uniform(0, 0.3, 2 * n))
    s = np.concatenate([moving[:where], creep, np.maximum(moving[where:], creep[-1])])
    return _made(rng, np.round(s, 2), texture=0.004)


def bowed(rng: np.random.Generator) -> Surface:
    """An arm bowed by 0.02 mm, and a sled that slows to a fifth of its speed."""
    t = np.linspace(0, 1, 2 * READINGS)
    s = (t - 0.4 * t**2) / 0.6
    s = np.round(s * LENGTH, 2)
    bow = 0.02 * (1 - (2 * s / LENGTH - 1) ** 2)
    return _made(rng, s, form=bow)


def step(rng: np.random.Generator) -> Surface:
    s = pushed(rng)
    where = rng.uniform(0.25, 0.75) * LENGTH
    high = rng.choice([-1.0, 1.0]) * np.exp(rng.uniform(np.log(0.008), np.log(0.5)))
    return _made(rng, s, form=np.where(s > where, high, 0.0))


CLASSES: dict[str, Callable[[np.random.Generator], Surface]] = {
    "clean": clean,
    "coarse counts": coarse,
    "texture": texture,
    "eight stations": stations,
    "dust": dust,
    "gullets": gullets,
    "shallow gullets": shallow_gullets,
    "dust, coarse": dust_on_coarse,
    "long texture": long_texture,
    "dwell": dwell,
    "bow, slowing": bowed,
}
