"""The verdict on a value with its uncertainty, and the change that would settle one
that cannot be told.

Rotations in rad, lengths in mm. ISO 14253-1 and JCGM 106:2012 (guarded acceptance and
guarded rejection).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from bench.finding import Settle, Verdict
from bench.uncertainty.budget import Budget, Part, combine
from bench.uncertainty.distributions import t_quantile
from bench.uncertainty.sweeps import BOTH_SHARE, Group, SweepScatter
from bench.uncertainty.variance_components import SET_UP_WORTH

FIRST_LOOK = 0.95  # confidence of the first look
# confidence of every look after the first: looking again and again at 95 % misleads
LATER = 0.99
# confidence of the look before the last planned pass: so strict that the planned look
# keeps its own (two looks of O'Brien and Fleming (1979), Biometrics 35, 549: 99.5 %
# first, then 95.2 %; the error of both together is 5.1 % beside 5 %)
EARLY = 0.995
# standard normal deviate that two of three stay below: a number of passes that is named
# settles it so often
TWO_OF_THREE = 0.4307
# pushes in a set-up that is made anew: fewer show no scatter
FEWEST_ANEW = 2
# the rows that a finer count of the indicator shrinks
OF_COUNTS = ("resolution", "indicator over the span used")
OF_PUSHES = ("between sweeps", "within the sweep")  # the rows that pushes shrink
BETWEEN_SET_UPS = "between set-ups"  # the row of `components.between_set_ups`
NAMED_CHECKS = range(
    2, 21
)  # in the log, that are named; more speak for no sled as it is
FINER_COUNTS = (2, 5, 10, 20, 50, 100)  # times finer counts that are looked at
MOST_NAMED_PUSHES = 12  # in one placement; beyond it another change is named


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


def verdict_between(
    value: float,
    expanded: float,
    least: float,
    most: float,
    largest: float | None = None,
) -> Verdict:
    """Inside where the whole interval lies within least <= value <= most, outside where
    none of it does. largest: what is held against `most`, where a body has a smallest
    size, which is the value, and a largest."""
    top = value if largest is None else largest
    if value - expanded >= least and top + expanded <= most:
        return "inside"
    out = value + expanded < least or top - expanded > most
    return "outside" if out else "cannot-tell"


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


def _scaled(budget: Budget, by: Mapping[str, float]) -> list[Part]:
    """Its rows, those that are named in `by` times that."""
    return [
        Part(
            row.part,
            row.type,
            row.standard_uncertainty * by.get(row.part, 1.0),
            row.degrees_of_freedom,
        )
        for row in budget.rows
    ]


def _fixed(budget: Budget) -> list[Part]:
    """The rows that more sweeps do not shrink."""
    return [part for part in _scaled(budget, {}) if part.name not in OF_PUSHES]


def decidable_tolerance(budget: Budget) -> float:
    """The least tolerance at which this instrument and set-up could call even a perfect
    fence inside, however many sweeps are taken: the expanded uncertainty of the rows
    that sweeps do not shrink."""
    return combine(_fixed(budget), budget.confidence).expanded


def _between_with(
    between: SweepScatter, groups: Sequence[Group], share: float, more: int
) -> Part:
    """The row "between sweeps" of pushes whose weights' squares sum to `share`, `more`
    of which have a mean of their group to scatter about beyond today's."""
    within2 = between.within**2
    extra2 = 0.0 if between.pooled and not between.single else BOTH_SHARE * within2
    today = sum(len(group.slopes) - 1 for group in groups)
    dof: float | None = float(today + more)
    if between.variance <= within2 * (1 + 1e-9):
        dof = between.degrees_of_freedom
    elif between.pooled:
        dof = max(between.part.degrees_of_freedom or 0.0, today) + more
    each2 = max(between.variance, within2) + extra2
    return Part("between sweeps", "A", math.sqrt(each2 * share), dof)


def _with_pushes(
    budget: Budget,
    between: SweepScatter,
    groups: Sequence[Group],
    pushes: int,
    anew: int | None,
) -> list[Part]:
    """The rows that more pushes shrink, with so many in every placement; anew: see
    `settle`."""
    if anew is None:
        share = math.fsum(group.weight**2 for group in groups) / pushes
        more = sum(pushes - len(group.slopes) for group in groups)
        return [_between_with(between, groups, share, more)]
    now = sum(len(group.slopes) for group in groups) / anew
    weight = math.fsum(group.weight for group in groups) / anew
    each = pushes - now
    rows = [
        _between_with(
            between, groups, anew * weight**2 / pushes, round(anew * (each - 1))
        )
    ]
    before = math.fsum(group.weight**2 for group in groups)
    after = before * (now / pushes) ** 2 + anew * (weight * each / pushes) ** 2
    scaled = _scaled(budget, {BETWEEN_SET_UPS: math.sqrt(after / before)})
    rows += [part for part in scaled if part.name == BETWEEN_SET_UPS]
    return rows


def needed(
    budget: Budget,
    between: SweepScatter,
    groups: Sequence[Group],
    pushes: int,
    anew: int | None = None,
) -> float:
    """Distance from the limit at which `pushes` in every placement settle a verdict in
    two cases of three: the give or take that is then expected, and how far the value
    itself still moves until then."""
    rows = _with_pushes(budget, between, groups, pushes, anew)
    names = {row.name for row in rows}
    stay = [part for part in _fixed(budget) if part.name not in names]
    now = math.fsum(p.standard_uncertainty**2 for p in between.parts) + math.fsum(
        row.standard_uncertainty**2
        for row in budget.rows
        if row.part == BETWEEN_SET_UPS and row.part in names
    )
    then = math.fsum(row.standard_uncertainty**2 for row in rows)
    moves = math.sqrt(max(now - then, 0.0))
    after = combine([*rows, *stay], LATER).expanded
    return after + TWO_OF_THREE * moves


def _needed_by_checks(budget: Budget, checks: int) -> float:
    """Distance from the limit at which, after so many whole checks in the log, the next
    one by as many pushes settles a verdict in two cases of three, if its set-ups differ
    by no more than its passes explain: then as in `needed`. It is an answer of its own:
    what the pushes say moves by their uncertainty in both."""
    dof = SET_UP_WORTH + checks - 1
    fades = math.sqrt(SET_UP_WORTH / dof)
    rows = [
        Part(row.name, "A", row.standard_uncertainty, dof)
        if row.name == BETWEEN_SET_UPS
        else row
        for row in _scaled(budget, {BETWEEN_SET_UPS: fades})
    ]
    pushes = [row.standard_uncertainty for row in rows if row.name in OF_PUSHES]
    moves = math.sqrt(2.0) * math.hypot(*pushes)
    return combine(rows, FIRST_LOOK).expanded + TWO_OF_THREE * moves


def settle(
    value: float,
    budget: Budget,
    tolerance: float,
    between: SweepScatter,
    groups: Sequence[Group],
    *,
    anew: int | None = None,
    margin: float | None = None,
    length: float | None = None,
    longest: float | None = None,
    count: float | None = None,
) -> Settle:
    """One thing that settles a verdict that cannot be told.

    The number of pushes in all, placements together, that settle it at LATER in two
    cases of three, by the `margin` (||value| - tolerance| unless given); else a
    number of whole checks in the log, where it is what differs between set-ups; else a
    longer sweep (`length` now, `longest` possible, mm); else a finer `count` (mm); else
    nothing but the row's name: no number of sweeps settles this. groups: one for each
    set-up. anew: number of placements, where each is set up anew for what is gone on
    with, so that what differs between set-ups is averaged too.
    """
    clear = abs(abs(value) - tolerance) if margin is None else margin
    fixed = combine(_fixed(budget), LATER)
    placements = anew or len(groups)
    if fixed.expanded < clear or anew is not None:
        sizes = [len(group.slopes) for group in groups]
        fewest = min(sizes) + 1 if anew is None else sum(sizes) // anew + FEWEST_ANEW
        for pushes in range(max(fewest, 2), MOST_NAMED_PUSHES + 1):
            if needed(budget, between, groups, pushes, anew) <= clear:
                return Settle(part="between sweeps", sweeps=pushes * placements)
    top = (
        budget.rows[0].part
        if fixed.expanded < clear or not fixed.rows
        else fixed.rows[0].part
    )
    of_log = [row.type for row in budget.rows if row.part == BETWEEN_SET_UPS]
    if top == BETWEEN_SET_UPS and "A" not in of_log:
        for checks in NAMED_CHECKS:
            if _needed_by_checks(budget, checks) <= clear:
                return Settle(part=top, checks=checks)
    if length is not None and longest is not None and longest > length and clear > 0:
        steps = [length + (longest - length) * step / 20 for step in range(1, 21)]
        shrinks = {new: length / new for new in steps}
        longer = _first_that(budget, (*OF_COUNTS, "closure"), shrinks, clear)
        if longer is not None:
            return Settle(part=top, length=longer)
    if count is not None and clear > 0 and top in OF_COUNTS:
        finer = {count / divide: 1 / divide for divide in FINER_COUNTS}
        resolution = _first_that(budget, OF_COUNTS, finer, clear)
        if resolution is not None:
            return Settle(part=top, resolution=resolution)
    return Settle(part=top)


def _first_that(
    budget: Budget,
    names: Sequence[str],
    changes: Mapping[float, float],
    clear: float,
) -> float | None:
    """The first change that settles it; changes: each with how many times as large the
    rows of these names then are."""
    for change, times in changes.items():
        parts = _scaled(budget, dict.fromkeys(names, times))
        if combine(parts, LATER).expanded <= clear:
            return change
    return None
