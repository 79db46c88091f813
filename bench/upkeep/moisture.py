"""Moisture content of wood in a climate: what it swells and shrinks by.

Moisture content is in percent of the oven-dry mass, as every table of wood has it.
"""

from __future__ import annotations

from functools import lru_cache

from bench.finding import Climate

# Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190, equation (4-5):
# constant, T, T^2 in deg C
_W = (349.0, 1.29, 0.0135)
_K = (0.805, 0.000736, -0.00000273)
_K1 = (6.27, -0.00938, -0.000303)
_K2 = (1.91, 0.0407, -0.000293)

USUAL_TEMPERATURE = 20.0  # where humidity alone is known; 10 K are 0.1 % of moisture


@lru_cache(maxsize=4096)
def equilibrium_moisture(temperature: float, humidity: float) -> float:
    """Moisture content, percent, that wood comes to in a steady climate; deg C, and
    relative humidity from 0 to 1. Raises ValueError.

    Holds for -1 to 55 deg C; a runner follows within days, a thick panel within weeks.
    Source: Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190, equation
    (4-5).
    """
    t, h = temperature, humidity
    if not -40.0 <= t <= 130.0:
        raise ValueError(f"temperature {t} deg C: give one between -40 and 130")
    if not 0.0 <= h <= 1.0:
        raise ValueError(f"relative humidity {h}: give a fraction between 0 and 1")
    w, k, k1, k2 = (c0 + c1 * t + c2 * t * t for c0, c1, c2 in (_W, _K, _K1, _K2))
    kh = k * h
    bound = (k1 * kh + 2.0 * k1 * k2 * kh * kh) / (1.0 + k1 * kh + k1 * k2 * kh * kh)
    return 1800.0 / w * (kh / (1.0 - kh) + bound)


def moisture(climate: Climate | None) -> float | None:
    """Moisture content of wood in percent, in that climate for good; None where its
    humidity is not known."""
    if climate is None or climate.humidity is None:
        return None
    t = climate.temperature
    return equilibrium_moisture(USUAL_TEMPERATURE if t is None else t, climate.humidity)
