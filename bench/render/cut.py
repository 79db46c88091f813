"""The forecast of a cut in words: how the parts come out, and what to do first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from bench.cut.document import CONFIDENCE, First, Forecast, Row
from bench.cut.forecast import LEAST_WORTH
from bench.render.result import name, upper_first
from bench.render.template import in_a_row
from bench.uncertainty import t_quantile
from bench.units import (
    System,
    give_or_take,
    nominal_words,
    rounded_words,
    slope_words,
)

PARTS = {
    "fence": "the sled fence",
    "bow": "the sled fence's bow",
    "slot": "the slot's bend",
    "heel": "the blade's rear teeth",
    "play": "the runners' play",
    "seat": "the board's seat",
    "season": "the season",
}
LEANS = {"fence-lean": "sled fence", "blade-lean": "blade body"}
# what puts a part right, measured or never measured
PUT_RIGHT = {
    "fence": "Square the sled fence",
    "bow": "Straighten the sled fence",
    "slot": "True the wall of the slot",
    "heel": "Push every cut clear past the rear teeth",
    "play": "Hold the sled against one wall in every cut",
}
NEVER_MEASURED = {
    "fence": "Check the sled fence, and square it",
    "bow": "Check whether the sled fence is straight",
    "slot": "Check the sled fence with both set-ups",
    "heel": "Push every cut clear past the rear teeth",
    "play": "Check the play, or hold the sled against one wall",
}
STATES = {
    "good": "good",
    "bad": "not good enough",
    "moved-since": "not checked since it was moved",
    "never-checked": "sled fence never checked",
}
FROM_CUT_TO_CUT = ("play", "seat")  # parts without a bias
UNSEEN = 0.1  # of the give or take: a smaller bias has no way
LEAST_SHOWN = 0.005  # of the tolerance: a smaller worth is not told


def with_words(document: dict[str, Any], units: System) -> dict[str, Any]:
    """The forecast with the sentence of what to do first."""
    told = msgspec.convert(document, Forecast)
    if told.first is None:
        return document
    words = first_words(told.first, told, units)
    return {**document, "first": {**document["first"], "words": words}}


def first_words(first: First, told: Forecast, units: System) -> str:
    if first.assumed:
        act = NEVER_MEASURED[first.part]
    elif first.act == "measure":
        act = f"Measure better first: {name(first.check)}, with more passes"
    elif first.together_with is not None:
        other = PARTS[first.together_with]
        act = f"{PUT_RIGHT[first.part]} together with {other}"
    else:
        act = PUT_RIGHT[first.part]
    return f"{act}: that gains {_over_cut(first.worth, told, units)}."


def forecast_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """The whole forecast for the command line."""
    told = msgspec.convert(document, Forecast)
    if told.jig is not None:
        yield f"{told.jig}{f' on {told.saw}' if told.saw else ''}:"
    yield from answer_lines(document, units)
    yield from _together(told, units)
    for words in row_lines(document, units):
        yield f"  {words}"
    if told.frame is not None:
        value, give = told.frame.value, told.frame.uncertainty
        way = "wider" if value > 0 else "tighter"
        much = slope_words(abs(value), units, uncertainty=give)
        yield f"  Frame of four corners: the last joint {way} by {much}."
    for lean in told.thickness:
        much = slope_words(abs(lean.value), units, uncertainty=lean.uncertainty)
        yield f"  Across the thickness the {LEANS[lean.part]} leans by {much}."
    if told.missing:
        yield f"Not measured here: {in_a_row([name(kind) for kind in told.missing])}."


def row_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """A sentence for each row of the forecast, in the order of its rows."""
    told = msgspec.convert(document, Forecast)
    return (row_words(row, told, units) for row in told.rows)


def answer_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """How the parts come out, and last what to do first: a sentence each."""
    told = msgspec.convert(document, Forecast)
    board = nominal_words(told.board_mm, units)
    cut = nominal_words(told.cut_mm, units)
    yield f"{board} board, {cut} cut:"
    yield f"{upper_first(square_words(told, units))}."
    yield f"From cut to cut it varies by {_over_cut(told.spread, told, units)}."
    limit = slope_words(told.tolerance, units)
    share = round(told.good_share * 100)
    yield f"{share} of 100 parts come out good enough: within {limit}."
    yield f"95 of 100 parts stay within {_over_cut(told.within_95, told, units)}."
    if told.first is None:
        yield "Nothing that could be put right would gain enough to matter."
        return
    yield first_words(told.first, told, units)


def _together(told: Forecast, units: System) -> Iterator[str]:
    """The two parts that gain most together, where they gain more than the first."""
    first, pair = told.first, told.pair
    if first is None or first.act != "put-right" or pair is None:
        return
    if pair.worth > first.worth:
        parts = " and ".join(PARTS[part] for part in pair.parts)
        much = _over_cut(pair.worth, told, units)
        yield f"{upper_first(parts)} together: that gains {much}."


def square_words(told: Forecast, units: System) -> str:
    """Turned counter-clockwise, the edge on the sled fence opens the corner of a part
    that lies to the left of the cut, which is then longer away from the fence."""
    value, give = abs(told.square.value), told.square.uncertainty
    if any(row.part == "fence" and row.assumed for row in told.rows):
        usual = _over_cut(give, told, units)
        return f"not measured yet: a usual sled is within {usual}"
    much = give_or_take(value * told.cut_mm, give * told.cut_mm, units)
    if value < UNSEEN * give:
        return f"square, {much}"
    longer = (told.square.value > 0) == (told.at != "right")
    return f"{'longer' if longer else 'shorter'} away from the sled fence: {much}"


def row_words(row: Row, told: Forecast, units: System) -> str:
    """One cause: how much, from which result, and what putting it right gains."""
    source = (
        "not measured: a usual figure"
        if row.assumed
        else f"{name(row.check)}, {_age(row.age_days)}"
    )
    least = LEAST_SHOWN * told.tolerance
    gain = ""
    if row.worth > least:
        gain = f" Putting it right gains {_over_cut(row.worth, told, units)}."
    elif row.worth < -LEAST_WORTH * told.tolerance:
        gain = " Leave it alone: it makes up for another fault."
    return (
        f"{upper_first(PARTS[row.part])}: {_much(row, told, units)} ({source}).{gain}"
    )


def _much(row: Row, told: Forecast, units: System) -> str:
    if row.part in FROM_CUT_TO_CUT:
        much = _over_cut(row.standard_uncertainty, told, units)
        return f"varies by {much}"
    give = row.standard_uncertainty * t_quantile(CONFIDENCE, None) * told.cut_mm
    against = " the other way" if row.value * told.square.value < 0 else ""
    return f"{give_or_take(abs(row.value) * told.cut_mm, give, units)}{against}"


def _over_cut(rad: float, told: Forecast, units: System) -> str:
    """An angle as a length over the cut, in two digits at the most."""
    mm = abs(rad) * told.cut_mm
    return rounded_words(mm, mm / 10, units)


def _age(days: int | None) -> str:
    if not days:
        return "today"
    return "a day old" if days == 1 else f"{days} days old"


def sled_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """All sleds of the shop, a line each."""
    for sled in document["sleds"]:
        within = slope_words(sled["within_95"], units)
        worst = f"; first {PARTS[sled['worst']]}" if sled["worst"] else ""
        date = f"; look again by {sled['next']}" if sled["next"] else ""
        state = STATES[sled["state"]]
        yield f"{sled['jig']}: {state}, 95 of 100 parts within {within}{worst}{date}"
