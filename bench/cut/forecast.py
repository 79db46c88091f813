"""The share of good parts from the terms of a cut, and the advice on what to put right
first.

The expected part has the variance of the cuts and of what is not known of the bias:
JCGM 100:2008 (GUM), 5.1.2; the bias is not hidden in it, F.2.4.5. The chance of a good
part is the conformance probability of JCGM 106:2012.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from itertools import combinations
from statistics import NormalDist
from typing import Literal

import msgspec

Part = Literal["fence", "bow", "slot", "heel", "play", "seat", "season"]
Act = Literal["put-right", "measure"]

# what a gain must reach, of the tolerance, to be worth a trip to the saw; common
# practice, no source
LEAST_WORTH = 0.05
# standard uncertainties by which a bias must stand out before anything is moved for it:
# its give or take of 95 %
SURE_BIAS = 1.96
GOOD_SHARE = 0.95  # of the parts; below it the answer is bad news
# four times as many passes halve an uncertainty that is the scatter of passes
MORE_PASSES = 0.5


class Term(msgspec.Struct, frozen=True, kw_only=True):
    """One cause of an angle error, rad.

    value: its bias, signed; uncertainty: standard, of the bias; scatter: standard
    deviation that it adds from cut to cut. best_uncertainty, best_scatter: what is left
    when it was measured and put right. lasting: nobody puts it right. practice: to put
    it right is good practice anyway, whatever it measures.
    """

    part: Part
    check: str
    value: float = 0.0
    uncertainty: float = 0.0
    scatter: float = 0.0
    best_uncertainty: float = 0.0
    best_scatter: float = 0.0
    finding: str | None = None
    age_days: int | None = None
    assumed: bool = False
    lasting: bool = False
    practice: bool = False

    @property
    def unknown(self) -> bool:
        """Whether only a check can tell what to put right, if anything."""
        return self.assumed and max(self.best_uncertainty, self.best_scatter) > 0.0

    @property
    def standard_uncertainty(self) -> float:
        """The standard uncertainty of a single cut's angle, from this term alone."""
        return math.hypot(self.uncertainty, self.scatter)

    def put_right(self) -> Term:
        """The term as it will be when it was measured and put right."""
        if self.lasting:
            return self
        return msgspec.structs.replace(
            self,
            value=0.0,
            uncertainty=min(self.uncertainty, self.best_uncertainty),
            scatter=min(self.scatter, self.best_scatter),
        )

    def measured_better(self) -> Term:
        """The term as it is, known as well as four times the passes can tell it; what
        was never measured stays as far out as the allowance says."""
        if self.assumed:
            return self
        return msgspec.structs.replace(self, uncertainty=self.uncertainty * MORE_PASSES)


class Outcome(msgspec.Struct, frozen=True):
    """The parts that are cut: bias and standard deviation from cut to cut, standard
    uncertainty of one part, the chance that it is good, and what 95 % stay within."""

    value: float
    spread: float
    standard_uncertainty: float
    good_share: float
    within_95: float


class Advice(msgspec.Struct, frozen=True):
    """An act and the part that it puts right or measures. together_with: the other part
    of a pair that must be put right with it, else parts become worse. worth: what
    `within_95` falls by."""

    part: Part
    act: Act
    worth: float
    together_with: Part | None = None


class Pair(msgspec.Struct, frozen=True):
    parts: tuple[Part, Part]
    worth: float


def outcome(terms: Sequence[Term], tolerance: float) -> Outcome:
    bias = math.fsum(term.value for term in terms)
    spread = math.hypot(*(term.scatter for term in terms))
    standard = math.hypot(spread, *(term.uncertainty for term in terms))
    return Outcome(
        value=bias,
        spread=spread,
        standard_uncertainty=standard,
        good_share=conformance_probability(-tolerance, tolerance, bias, standard),
        within_95=share_limit(bias, standard),
    )


def worth(
    terms: Sequence[Term], tolerance: float, *parts: Part, act: Act = "put-right"
) -> float:
    """The amount by which `within_95` falls when these parts are put right together, or
    measured better; negative where parts become worse."""
    change: Callable[[Term], Term] = (
        Term.put_right if act == "put-right" else Term.measured_better
    )
    after = [change(term) if term.part in parts else term for term in terms]
    return outcome(terms, tolerance).within_95 - outcome(after, tolerance).within_95


def best_pair(
    terms: Sequence[Term], tolerance: float, without: Collection[Part] = ()
) -> Pair | None:
    """The two parts that gain most together, none of them in `without`; None with fewer
    than two."""
    pairs = [
        Pair((one.part, other.part), worth(terms, tolerance, one.part, other.part))
        for one, other in combinations(terms, 2)
        if not (one.lasting or other.lasting)
        and not {one.part, other.part} & set(without)
    ]
    return max(pairs, key=lambda pair: pair.worth, default=None)


def advice(terms: Sequence[Term], tolerance: float) -> Advice | None:
    """The act that gains most; None where nothing gains enough.

    A part that is measured anew when it is put right is only to be measured where that
    alone makes most of the gain. Measuring changes no part, so it is advised only where
    too few are good.
    """
    single = [_single(term, terms, tolerance) for term in terms if not term.lasting]
    single.append(_all_measured(terms, tolerance))
    if outcome(terms, tolerance).good_share >= GOOD_SHARE:
        single = [one for one in single if one.act == "put-right"]
    least = LEAST_WORTH * tolerance
    best = max(single, key=lambda one: one.worth, default=None)
    alone = {one.part for one in single if one.worth >= least}
    alone |= {term.part for term in terms if term.unknown}
    pair = best_pair(terms, tolerance, alone)
    reach = 2.0 * best.worth if best is not None else 0.0  # two acts for one
    if (
        pair is not None
        and pair.worth >= max(least, reach)
        and surely_helps(terms, *pair.parts)
    ):
        return Advice(pair.parts[0], "put-right", pair.worth, pair.parts[1])
    return best if best is not None and best.worth >= least else None


def _single(term: Term, terms: Sequence[Term], tolerance: float) -> Advice:
    gain = worth(terms, tolerance, term.part)
    if term.practice:
        return Advice(term.part, "put-right", gain)
    by_measuring = worth(terms, tolerance, term.part, act="measure")
    if term.unknown or by_measuring > gain / 2:
        return Advice(term.part, "measure", gain)
    if not surely_helps(terms, term.part):  # for what is least known stands in the way
        return Advice(least_known(terms).part, "measure", gain)
    return Advice(term.part, "put-right", gain)


def least_known(terms: Sequence[Term]) -> Term:
    return max(terms, key=lambda term: term.uncertainty)


def surely_helps(terms: Sequence[Term], *parts: Part) -> bool:
    """Whether taking the biases of these parts away makes the whole bias smaller in
    spite of what is not known of them: b of the parts and r of the rest go from |b + r|
    to |r|, which is less where b (b + 2 r) > 0."""
    own = [term for term in terms if term.part in parts]
    rest = [term for term in terms if term.part not in parts]
    bias = math.fsum(term.value for term in own)
    unknown = math.hypot(*(term.uncertainty for term in own))
    if bias == 0.0 and unknown == 0.0:
        return True  # it only scatters
    others = math.hypot(*(term.uncertainty for term in rest))
    both = math.copysign(1.0, bias) * (
        bias + 2.0 * math.fsum(term.value for term in rest)
    )
    return abs(bias) > SURE_BIAS * unknown and both > SURE_BIAS * math.hypot(
        unknown, 2 * others
    )


def _all_measured(terms: Sequence[Term], tolerance: float) -> Advice:
    """All biases measured better, led to the check of the least known one."""
    parts = [term.part for term in terms]
    gain = worth(terms, tolerance, *parts, act="measure")
    return Advice(least_known(terms).part, "measure", gain)


def conformance_probability(
    low: float, high: float, value: float, standard: float
) -> float:
    """The chance that a normal quantity lies within low and high (either may be
    infinite): JCGM 106:2012, 7.4. standard: its standard uncertainty, zero or more."""
    if standard <= 0.0:
        return 1.0 if low <= value <= high else 0.0
    below = NormalDist(value, standard).cdf
    return below(high) - below(low)


def share_limit(value: float, standard: float, share: float = 0.95) -> float:
    """Q, so that the chance of a size of at most Q is `share`, more than a half.

    Newton's rule from |value|, where the chance is at most a half: from there on the
    chance grows ever less steeply, so that no step passes Q.
    """
    limit = abs(value)
    if standard <= 0.0:
        return limit
    density = NormalDist(value, standard).pdf
    while True:
        short = share - conformance_probability(-limit, limit, value, standard)
        further = limit + short / (density(limit) + density(-limit))
        if further <= limit:
            return limit
        limit = further
