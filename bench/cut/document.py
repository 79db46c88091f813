"""The forecast of a sled's cut, and of all sleds of the shop, as plain JSON documents.

Field names are a promise to other people's tools: add freely, change no meaning.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import msgspec

from bench.checks import checks
from bench.cut.conditions import CutConditions
from bench.cut.forecast import (
    GOOD_SHARE,
    Advice,
    Pair,
    Part,
    Term,
    advice,
    best_pair,
    outcome,
    worth,
)
from bench.cut.terms import LoggedFinding, cut_terms, latest
from bench.gear import Jig
from bench.uncertainty.distributions import t_quantile

CONFIDENCE = 0.95
# what a forecast is made from; the last three turn no edge, and are named where nobody
# looked
KINDS = (
    "fence-square",
    "fence-straight",
    "side-play",
    "slot-blade",
    "plate-wobble",
    "upright",
)
LEANS = ("fence-lean", "blade-lean")


State = Literal["good", "bad", "moved-since", "never-checked"]


class Angle(msgspec.Struct, frozen=True):
    """rad; uncertainty: expanded, 95 %."""

    value: float
    uncertainty: float


class TermRow(msgspec.Struct, frozen=True):
    """standard_uncertainty: of one cut, from this part alone. worth: what `within_95`
    falls by when it is put right."""

    part: Part
    value: float
    standard_uncertainty: float
    check: str
    finding: str | None
    age_days: int | None
    assumed: bool
    worth: float


class FirstAdvice(Advice, frozen=True, kw_only=True):
    """The advice on what to do first. words: a sentence, made in `bench.render.cut`."""

    check: str
    assumed: bool = False
    words: str = ""


class MeasuredAngle(Angle, frozen=True):
    """An angle that one finding tells."""

    check: str
    finding: str
    age_days: int


class ThicknessLean(MeasuredAngle, frozen=True):
    """Across the thickness: which body leans, by how much."""

    part: str


class FrameCorner(MeasuredAngle, frozen=True):
    """Four corners, each of a part from either fence of a mitre sled: by how much the
    last joint is wider (positive) or tighter than square."""


class Forecast(msgspec.Struct, frozen=True, kw_only=True):
    """square: of the next cut, so that 95 % of the cuts lie within its uncertainty;
    spread: standard deviation from cut to cut; within_95: what 95 % of the parts stay
    within. rows: by worth, the largest first. missing: checks that were never taken."""

    jig: str | None
    saw: str | None
    board_mm: float
    cut_mm: float
    at: str
    tolerance: float
    square: Angle
    spread: float
    good_share: float
    within_95: float
    rows: list[TermRow]
    first: FirstAdvice | None
    pair: Pair | None
    thickness: list[ThicknessLean]
    frame: FrameCorner | None
    missing: list[str]


class SledForecast(msgspec.Struct, frozen=True):
    """state: `good` while 95 % of the parts are; `never-checked` while its sled fence
    is not, `moved-since` while nobody checked it after something happened. worst: the
    part that gains most when put right. next: ISO date."""

    jig: str
    saw: str | None
    state: State
    worst: Part | None
    good_share: float
    within_95: float
    tolerance: float
    next: str | None = None


def cut_document(
    results: Sequence[LoggedFinding],
    jig: Jig | None = None,
    conditions: CutConditions | None = None,
) -> dict[str, Any]:
    """The forecast of this sled's parts: `Forecast` as plain JSON.

    results: newest first, of this sled on its saw, and of the saw; none superseded or
    doubted. conditions: what is cut; the sled's widest board unless given.
    """
    document: dict[str, Any] = msgspec.to_builtins(_forecast(results, jig, conditions))
    return document


def _forecast(
    results: Sequence[LoggedFinding],
    jig: Jig | None,
    conditions: CutConditions | None = None,
) -> Forecast:
    widest = jig.widest_board if jig is not None else None
    conditions = conditions or (
        CutConditions() if widest is None else CutConditions(board=widest)
    )
    tolerance = (jig or Jig("")).tolerance
    terms = cut_terms(results, conditions, jig)
    after = outcome(terms, tolerance)
    saw = jig.saw if jig is not None else None
    give = t_quantile(CONFIDENCE, None) * after.standard_uncertainty
    return Forecast(
        jig=jig.name if jig is not None else None,
        saw=results[0].finding.saw if results else saw,
        board_mm=conditions.board,
        cut_mm=conditions.cut,
        at=conditions.at,
        tolerance=tolerance,
        square=Angle(after.value, give),
        spread=after.spread,
        good_share=after.good_share,
        within_95=after.within_95,
        rows=_rows(terms, tolerance),
        first=_first(terms, tolerance),
        pair=best_pair(terms, tolerance),
        thickness=_leans(results),
        frame=_frame(results, after.spread),
        missing=_missing(results, terms),
    )


def shop_document(
    sleds: Sequence[tuple[Jig, Sequence[LoggedFinding]]],
    next_dates: Mapping[str, str | None] | None = None,
) -> dict[str, Any]:
    """All sleds of the shop, a `SledForecast` each, as plain JSON. next_dates: by sled,
    the ISO date of its next check where one is due."""
    dates = next_dates or {}
    rows = [_sled(jig, results, dates.get(jig.name)) for jig, results in sleds]
    return {"sleds": msgspec.to_builtins(rows)}


def _sled(jig: Jig, results: Sequence[LoggedFinding], date: str | None) -> SledForecast:
    told = _forecast(results, jig)
    state: State = "good" if told.good_share >= GOOD_SHARE else "bad"
    if latest(results, "fence-square", "fence") is None:
        ever = latest(results, "fence-square", "fence", outdated=True)
        state = "never-checked" if ever is None else "moved-since"
    return SledForecast(
        jig=jig.name,
        saw=told.saw,
        state=state,
        worst=told.first.part if told.first is not None else None,
        good_share=told.good_share,
        within_95=told.within_95,
        tolerance=told.tolerance,
        next=date,
    )


def _rows(terms: Sequence[Term], tolerance: float) -> list[TermRow]:
    rows = [
        TermRow(
            part=term.part,
            value=term.value,
            standard_uncertainty=term.standard_uncertainty,
            check=term.check,
            finding=term.finding,
            age_days=term.age_days,
            assumed=term.assumed,
            worth=worth(terms, tolerance, term.part),
        )
        for term in terms
    ]
    return sorted(rows, key=lambda row: row.worth, reverse=True)


def _first(terms: Sequence[Term], tolerance: float) -> FirstAdvice | None:
    best = advice(terms, tolerance)
    if best is None:
        return None
    term = next(term for term in terms if term.part == best.part)
    told = msgspec.structs.asdict(best)
    return FirstAdvice(**told, check=term.check, assumed=term.assumed)


def _leans(results: Sequence[LoggedFinding]) -> list[ThicknessLean]:
    found = [(name, latest(results, "upright", name)) for name in LEANS]
    return [
        ThicknessLean(
            q.value, q.uncertainty, "upright", one.finding.id, one.age_days, name
        )
        for name, (one, q) in ((name, pair) for name, pair in found if pair)
    ]


def _frame(results: Sequence[LoggedFinding], spread: float) -> FrameCorner | None:
    """Four times the error between the fences, and the scatter of eight cuts."""
    found = latest(results, "mitre-square", "between")
    if found is None:
        return None
    one, between = found
    cuts = math.sqrt(8.0) * spread * t_quantile(CONFIDENCE, None)
    give = math.hypot(4.0 * between.uncertainty, cuts)
    id, age = one.finding.id, one.age_days
    return FrameCorner(4.0 * between.value, give, "mitre-square", id, age)


def _missing(results: Sequence[LoggedFinding], terms: Sequence[Term]) -> list[str]:
    """Checks that this version has and nobody took, in the order of their weight."""
    taken = {one.finding.check for one in results}
    taken |= {term.check for term in terms if not term.assumed}
    measured = {term.part for term in terms if not term.assumed}
    if "runner-fit" in taken or "play" in measured:
        taken.add("side-play")
    return [kind for kind in KINDS if kind in checks() and kind not in taken]
