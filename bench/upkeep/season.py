"""The part of a series that follows the moisture content of wood: fitted, tested, and
taken out before the charts judge.

Moisture content: Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190,
equation (4-5). The fit is a straight line within the baseline periods, kept where its F
test gives p < 0.05.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from bench.uncertainty.distributions import f_upper_tail, t_quantile
from bench.upkeep.history import Measurement
from bench.upkeep.moisture import moisture
from bench.upkeep.series import Baseline
from bench.upkeep.shape import Sums, best_shape

# what shows a season: results, days from first to last, percent of moisture content
FEWEST_RESULTS, SPAN_DAYS, SPREAD_PERCENT = 8, 182.0, 2.0
SIGNIFICANCE = 0.05  # p of the F test below which it is kept
# how far a sled may follow one percent of moisture content before that is known: so
# much of its tolerance, one standard deviation. From the swings of 0.006 to 0.03 mm
# per 300 a year that shops see, against a tolerance of 0.05 and 6 % of moisture
SHARE_PER_PERCENT = 0.04
# from this share of the tolerance on a season's swing is worth setting between
MATTERS = 0.1


class Season(msgspec.Struct, frozen=True):
    """per_percent: change of the value for a percent of moisture content, with its
    expanded (95 %) and standard uncertainty. kept: it is taken out of the charts.
    middle, dry, wet: mean, lowest and highest moisture content seen."""

    per_percent: float
    expanded: float
    standard: float
    kept: bool
    middle: float
    dry: float
    wet: float
    spread: float  # standard deviation of the moisture content seen

    def swing(self, level: float) -> tuple[float, float]:
        """A level without the season's part, in the driest and the wettest air seen."""
        dry, wet = (
            level + self.per_percent * (seen - self.middle)
            for seen in (self.dry, self.wet)
        )
        return dry, wet


class Correction(msgspec.Struct, frozen=True):
    """The part that the charts take out: slope per percent, about `middle`, and how
    well it is known. spread: that of moisture, for results that carry none."""

    slope: float = 0.0
    standard: float = 0.0
    middle: float = 0.0
    spread: float = 0.0

    def corrected(self, one: Measurement) -> float:
        m = moisture(one.climate)
        return one.value - (0.0 if m is None else self.slope * (m - self.middle))

    def variance(self, one: Measurement, reference: float | None) -> float:
        """The variance that is still unknown of the season's part between a result and
        the mean moisture content of those that it is compared with."""
        m = moisture(one.climate)
        if m is None or reference is None:
            return (self.slope * self.spread) ** 2
        return (self.standard * (m - reference)) ** 2


def fit_season(parts: Sequence[Baseline]) -> Season | None:
    """The season of one series; None where too few results, too short a time or too
    even a climate could show it."""
    known = [
        [
            (one.day, one.value, m)
            for one in part.results
            if (m := moisture(one.climate)) is not None
        ]
        for part in parts
    ]
    days = [day for part in known for day, _, _ in part]
    wets = [m for part in known for _, _, m in part]
    if len(days) < FEWEST_RESULTS or max(days) - min(days) < SPAN_DAYS:
        return None
    if max(wets) - min(wets) < SPREAD_PERCENT:
        return None
    sums = [
        best_shape(*map(list, zip(*part, strict=True))).sums
        for part in known
        if len(part) > 1
    ]
    total = Sums(
        math.fsum(s.yy for s in sums),
        math.fsum(s.my for s in sums),
        math.fsum(s.mm for s in sums),
        math.fsum(s.freedom for s in sums) - 1,
    )
    if total.freedom < 1 or total.mm <= 0:
        return None
    slope = total.my / total.mm
    left = total.residual() / total.freedom
    standard = math.sqrt(left / total.mm)
    ratio = math.inf if left == 0 else slope * total.my / left
    middle = math.fsum(wets) / len(wets)
    return Season(
        per_percent=slope,
        expanded=t_quantile(0.95, total.freedom) * standard,
        standard=standard,
        kept=slope != 0 and f_upper_tail(ratio, 1, total.freedom) < SIGNIFICANCE,
        middle=middle,
        dry=min(wets),
        wet=max(wets),
        spread=math.sqrt(math.fsum((m - middle) ** 2 for m in wets) / len(wets)),
    )


def season_correction(season: Season | None, tolerance: float | None) -> Correction:
    """Until a season's part is known it may be as large as SHARE_PER_PERCENT says."""
    unknown = SHARE_PER_PERCENT * (tolerance or 0.0)
    if season is None:
        return Correction(standard=unknown)
    if season.kept:
        return Correction(
            season.per_percent, season.standard, season.middle, season.spread
        )
    return Correction(standard=min(unknown, season.standard))
