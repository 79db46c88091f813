"""How widths and spacings move over a year: moisture content of wood, shrinking and
swelling, heat.

Lengths in mm, temperature in deg C, relative humidity as a fraction, moisture content
in percent of the oven-dry mass (as every table of wood has it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bench.geometry.reversal import GeometryError

# Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190, equation (4-5):
# constant, T, T^2 in deg C
_W = (349.0, 1.29, 0.0135)
_K = (0.805, 0.000736, -0.00000273)
_K1 = (6.27, -0.00938, -0.000303)
_K2 = (1.91, 0.0407, -0.000293)

# percent moisture content where the coefficients below hold
LINEAR_FROM, LINEAR_TO = 6.0, 14.0


@dataclass(frozen=True)
class Climate:
    """temperature: deg C. relative_humidity: fraction, 0 to 1."""

    temperature: float
    relative_humidity: float


@dataclass(frozen=True)
class Moves:
    """How a material answers to its climate, along the dimension in question.

    per_moisture: change per percent of moisture content, relative (0 for metal and
    plastic). per_kelvin: thermal expansion, relative.
    """

    per_moisture: float = 0.0
    per_kelvin: float = 0.0


@dataclass(frozen=True)
class Wood:
    """Dimensional change coefficients per percent of moisture content.

    radial: of a quarter-sawn width (C_R). tangential: of a flat-sawn width (C_T).
    """

    radial: float
    tangential: float


# Wood Handbook (2010), FPL-GTR-190, Table 13-5; those marked are from memory
WOODS: dict[str, Wood] = {
    "ash, white": Wood(0.00169, 0.00274),
    "beech, American": Wood(0.00190, 0.00431),
    "birch, yellow": Wood(0.00256, 0.00338),
    "cherry, black": Wood(0.00126, 0.00248),
    "hickory, pecan": Wood(0.00169, 0.00315),
    "mahogany": Wood(0.00172, 0.00238),  # from memory
    "maple, red": Wood(0.00137, 0.00289),
    "maple, sugar": Wood(0.00165, 0.00353),
    "oak, red": Wood(0.00158, 0.00369),
    "oak, white": Wood(0.00180, 0.00365),
    "pine, loblolly": Wood(0.00165, 0.00259),  # from memory
    "teak": Wood(0.00101, 0.00186),  # radial from memory
    "walnut, black": Wood(0.00190, 0.00274),
}

# Linear thermal expansion per K. Metals: Callister, Materials Science and Engineering,
# Table B.6.
STEEL = 11.7e-6
CAST_IRON = 11.4e-6
ALUMINIUM = 23.6e-6

# Along the grain wood moves 0.1 to 0.2 percent from green to dry (Wood Handbook,
# chapter 4; from memory): 0.00005 per percent of moisture, a tenth of a millimetre over
# 600 mm in a hard year.
ALONG_GRAIN = 0.00005
# Plywood in its plane: about 0.2 percent from oven-dry to fibre saturation near 28
# percent (Wood Handbook, chapter 12; from memory).
PLYWOOD_IN_PLANE = 0.002 / 28.0


def equilibrium_moisture(climate: Climate) -> float:
    """Moisture content, percent, that wood comes to in a steady climate. Raises
    GeometryError.

    Holds for -1 to 55 deg C; a runner follows within days, a thick panel within weeks.
    Source: Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190, equation
    (4-5).
    """
    t, h = climate.temperature, climate.relative_humidity
    if not (math.isfinite(t) and -40.0 <= t <= 130.0):
        raise GeometryError(f"temperature {t} deg C: give one between -40 and 130")
    if not 0.0 <= h <= 1.0:
        raise GeometryError(f"relative humidity {h}: give a fraction between 0 and 1")
    w, k, k1, k2 = (c0 + c1 * t + c2 * t * t for c0, c1, c2 in (_W, _K, _K1, _K2))
    kh = k * h
    bound = (k1 * kh + 2.0 * k1 * k2 * kh * kh) / (1.0 + k1 * kh + k1 * k2 * kh * kh)
    return 1800.0 / w * (kh / (1.0 - kh) + bound)


def moisture_change(
    width: float, coefficient: float, moisture_from: float, moisture_to: float
) -> float:
    """Change of a width, mm, positive where it swells: D C (M_to - M_from).

    coefficient: per percent of moisture content. Holds from 6 to 14 percent
    (LINEAR_FROM, LINEAR_TO); outside it is an estimate. Source: Wood Handbook (2010),
    FPL-GTR-190, chapter 13.
    """
    if not width >= 0.0:
        raise GeometryError(f"width {width}: give a length of zero or more")
    return width * coefficient * (moisture_to - moisture_from)


def size_in(size: float, material: Moves, measured: Climate, then: Climate) -> float:
    """A size, mm, in another climate than the one it was measured in, both lasting.

    Swelling by `moisture_change` and heat by size x per_kelvin x difference, added.
    """
    wet = moisture_change(
        size,
        material.per_moisture,
        equilibrium_moisture(measured),
        equilibrium_moisture(then),
    )
    warm = size * material.per_kelvin * (then.temperature - measured.temperature)
    return size + wet + warm


def clearance_in(
    slot: float,
    runner: float,
    slot_of: Moves,
    runner_of: Moves,
    measured: Climate,
    then: Climate,
) -> float:
    """Clearance, mm, of a runner in its slot (both widths as measured) in another
    climate.

    Below zero it binds.
    """
    return size_in(slot, slot_of, measured, then) - size_in(
        runner, runner_of, measured, then
    )


def spacing_shift(
    spacing: float, table: Moves, base: Moves, measured: Climate, then: Climate
) -> float:
    """How much farther apart, mm, the runners under a base come to stand than the slots
    they run in."""
    return size_in(spacing, base, measured, then) - size_in(
        spacing, table, measured, then
    )
