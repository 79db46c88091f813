"""From a value and its uncertainty to a verdict, and to what would settle one that
cannot be told.

Rotations in rad, lengths in mm. ISO 14253-1 and JCGM 106:2012 (guarded acceptance and
guarded rejection).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from bench.finding import Settle, Verdict
from bench.uncertainty.budget import Combined, Part, combine
from bench.uncertainty.student import t_quantile
from bench.uncertainty.sweeps import BOTH_SHARE, Between, Group

# confidence of every look after the first: looking again and again at 95 % misleads
LATER = 0.99
# confidence of the look before the last planned pass: so strict that the planned look
# keeps its own (two looks of O'Brien and Fleming (1979), Biometrics 35, 549: 99.5 %
# first, then 95.2 %; the error of both together is 5.1 % beside 5 %)
EARLY = 0.995
# standard normal deviate that two of three stay below: a number of passes that is named
# settles it so often
TWO_OF_THREE = 0.4307
MOST_PUSHES = 12  # in one placement; beyond it another change is named


def verdict(value: float, expanded: float, tolerance: float) -> Verdict:
    """|value| + U <= T inside, |value| - U > T outside, else cannot-tell."""
    if abs(value) + expanded <= tolerance:
        return "inside"
    if abs(value) - expanded > tolerance:
        return "outside"
    return "cannot-tell"


def decided_early(
    value: float,
    expanded: float,
    degrees_of_freedom: float | None,
    tolerance: float,
    confidence: float = 0.95,
) -> bool:
    """Whether the passes so far settle the verdict so surely that no other is needed.

    expanded: at `confidence`. It is judged at EARLY.
    """
    factor = t_quantile(EARLY, degrees_of_freedom)
    stricter = expanded * factor / t_quantile(confidence, degrees_of_freedom)
    return verdict(value, stricter, tolerance) != "cannot-tell"


def verdict_one_sided(opening: float, expanded: float, limit: float) -> Verdict:
    """Inside where the whole interval lies within 0 <= opening <= limit, outside where
    none of it does."""
    if opening - expanded >= 0 and opening + expanded <= limit:
        return "inside"
    if opening + expanded < 0 or opening - expanded > limit:
        return "outside"
    return "cannot-tell"


def agreement(
    first: float, expanded_first: float, second: float, expanded_second: float
) -> float:
    """E_n of two answers with expanded uncertainties (ISO 13528:2022, 9.7), without its
    sign.

    They agree while E_n <= 1."""
    both = math.hypot(expanded_first, expanded_second)
    apart = abs(first - second)
    if both == 0:
        return 0.0 if apart == 0 else math.inf
    return apart / both


def _fixed(combined: Combined) -> list[Part]:
    """The rows that more sweeps do not shrink."""
    return [
        Part(row.part, row.type, row.standard_uncertainty, row.degrees_of_freedom)
        for row in combined.rows
        if row.part not in ("between sweeps", "within the sweep")
    ]


def decidable_tolerance(combined: Combined, confidence: float | None = None) -> float:
    """The least tolerance at which this instrument and set-up could call even a perfect
    fence inside, however many sweeps are taken: the expanded uncertainty of the rows
    that sweeps do not shrink."""
    return combine(_fixed(combined), confidence or combined.confidence).expanded


def _between_with(
    combined: Combined, between: Between, groups: Sequence[Group], pushes: int
) -> Part:
    """The row "between sweeps" with so many pushes in every placement."""
    share = math.fsum(group.weight**2 for group in groups) / pushes
    within2 = between.within**2
    extra2 = 0.0 if between.pooled and not between.single else BOTH_SHARE * within2
    if between.single:
        weight = math.sqrt(math.fsum(group.weight**2 for group in groups))
        each2 = (between.part.standard_uncertainty / weight) ** 2 if weight else 0.0
    else:
        now = math.fsum(group.weight**2 / len(group.slopes) for group in groups)
        each2 = (
            max(between.part.standard_uncertainty**2 / now - extra2, 0.0)
            if now
            else 0.0
        )
    dof: float | None = float(len(groups) * (pushes - 1))
    if each2 <= within2 * (1 + 1e-9):
        dof = between.degrees_of_freedom
    elif between.pooled:
        log = (between.part.degrees_of_freedom or 0.0) - sum(
            len(group.slopes) - 1 for group in groups
        )
        dof = max(log, 0.0) + len(groups) * (pushes - 1)
    return Part(
        "between sweeps", "A", math.sqrt((max(each2, within2) + extra2) * share), dof
    )


def needed(
    combined: Combined,
    between: Between,
    groups: Sequence[Group],
    pushes: int,
    confidence: float,
) -> float:
    """Distance from the limit at which `pushes` in every placement settle a verdict in
    two cases of three: the give or take that is then expected, and how far the value
    itself still moves until then."""
    row = _between_with(combined, between, groups, pushes)
    now = math.fsum(p.standard_uncertainty**2 for p in between.parts)
    moves = math.sqrt(max(now - row.standard_uncertainty**2, 0.0))
    after = combine([row, *_fixed(combined)], confidence).expanded
    return after + TWO_OF_THREE * moves


def settle(
    value: float,
    combined: Combined,
    tolerance: float,
    between: Between,
    groups: Sequence[Group],
    *,
    margin: float | None = None,
    length: float | None = None,
    longest: float | None = None,
    count: float | None = None,
    confidence: float = LATER,
) -> Settle:
    """One thing that settles a verdict that cannot be told.

    The number of pushes in all, placements together, that settle it at `confidence` in
    two cases of three, by the `margin` (||value| - tolerance| unless given); else a
    longer sweep (`length` now, `longest` possible, mm); else a finer `count` (mm); else
    nothing but the row's name: no number of sweeps settles this.
    """
    clear = abs(abs(value) - tolerance) if margin is None else margin
    fixed = combine(_fixed(combined), confidence)
    if fixed.expanded < clear:
        fewest = min(len(group.slopes) for group in groups) + 1
        for pushes in range(max(fewest, 2), MOST_PUSHES + 1):
            if needed(combined, between, groups, pushes, confidence) <= clear:
                return Settle(part="between sweeps", sweeps=pushes * len(groups))
    top = (
        combined.rows[0].part
        if fixed.expanded < clear or not fixed.rows
        else fixed.rows[0].part
    )
    if length is not None and longest is not None and longest > length and clear > 0:
        longer = _longer(combined, clear, length, longest, confidence)
        if longer is not None:
            return Settle(part=top, length=longer)
    if (
        count is not None
        and clear > 0
        and top in ("resolution", "indicator over the span used")
    ):
        finer = _finer(combined, clear, count, confidence)
        if finer is not None:
            return Settle(part=top, resolution=finer)
    return Settle(part=top)


_PER_LENGTH = (
    "between sweeps",
    "within the sweep",
    "resolution",
    "indicator over the span used",
    "closure",
    "square",
)


def _longer(
    combined: Combined, clear: float, length: float, longest: float, confidence: float
) -> float | None:
    """The rows that are millimetres over the sweep's length shrink with it; the rest
    stay."""
    for step in range(1, 21):
        new = length + (longest - length) * step / 20
        parts = [
            Part(
                row.part,
                row.type,
                row.standard_uncertainty
                * (length / new if row.part in _PER_LENGTH[2:5] else 1.0),
                row.degrees_of_freedom,
            )
            for row in combined.rows
        ]
        if combine(parts, confidence).expanded <= clear:
            return new
    return None


def _finer(
    combined: Combined, clear: float, count: float, confidence: float
) -> float | None:
    for divide in (2, 5, 10, 20, 50, 100):
        parts = [
            Part(
                row.part,
                row.type,
                row.standard_uncertainty
                / (
                    divide
                    if row.part in ("resolution", "indicator over the span used")
                    else 1
                ),
                row.degrees_of_freedom,
            )
            for row in combined.rows
        ]
        if combine(parts, confidence).expanded <= clear:
            return count / divide
    return None


def can_ever_decide(
    combined: Combined, tolerance: float, confidence: float | None = None
) -> bool:
    """Whether a perfect fence could be called inside at this tolerance, with as many
    sweeps as one likes."""
    return decidable_tolerance(combined, confidence) <= tolerance
