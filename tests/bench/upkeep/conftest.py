"""What the tests of upkeep share: results of a pretend sled, without a log."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

from bench.finding import Climate
from bench.upkeep.history import Measurement

MM = 1 / 300  # rad; one millimetre over 300 mm
TOLERANCE = 0.05 * MM
SIGMA = 0.005 * MM  # of a whole check; half of its usual give or take
START = 20_000.0


def results(
    values: Sequence[float],
    *,
    errors: Sequence[float] | None = None,
    days: Sequence[float] | None = None,
    climates: Sequence[Climate | None] | None = None,
    varying: float = SIGMA,
    tolerance: float | None = TOLERANCE,
    jig: str = "big-sled",
    quick: bool = False,
) -> list[Measurement]:
    """Whole checks, a month apart unless said. errors: the square's."""
    found = []
    for n, value in enumerate(values):
        shared = {
            "finding": f"{jig}-{n}",
            "day": START + (30.4 * n if days is None else days[n]),
            "order": n,
            "check": "fence-square",
            "jig": jig,
            "saw": None,
            "unit": "rad",
            "expanded": 2.2 * varying,
            "varying": varying,
            "square": "shop",
            "set_up": "turned-over",
            "quick": quick,
            "climate": None if climates is None else climates[n],
        }
        found.append(
            Measurement(quantity="fence", value=value, tolerance=tolerance, turns_fence=True, **shared)
        )
        if errors is not None:
            found.append(Measurement(quantity="square", value=errors[n], **shared))
    return found


def climates(
    days: Sequence[float], toss: random.Random, low: float = 0.30, high: float = 0.65
) -> list[Climate]:
    """Of a year that swings between two relative humidities, with weather on it."""
    return [
        Climate(
            20.0,
            (low + high) / 2 + (high - low) / 2 * math.sin(2 * math.pi * day / 365.25) + toss.gauss(0, 0.02),
        )
        for day in days
    ]
