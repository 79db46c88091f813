"""The forecast of a cut in words: how the parts come out, and what to do first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from bench.cut.document import CONFIDENCE, FirstAdvice, Forecast, TermRow
from bench.cut.forecast import LEAST_WORTH
from bench.render.names import spaced, upper_first
from bench.render.template import in_a_row
from bench.uncertainty.distributions import t_quantile
from bench.units import System, give_or_take, nominal_words, rounded_words, slope_words

CAUSE_NAMES = {
    "fence": "the sled fence",
    "bow": "the sled fence's bow",
    "slot": "the slot's bend",
    "heel": "the blade's rear teeth",
    "play": "the runners' play",
    "seat": "the board's seat",
    "season": "the season",
}
LEAN_NAMES = {"fence-lean": "sled fence", "blade-lean": "blade body"}
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
SLED_STATES = {
    "good": "good",
    "bad": "not good enough",
    "moved-since": "not checked since it was moved",
    "never-checked": "sled fence never checked",
}
FROM_CUT_TO_CUT = ("play", "seat")  # parts without a bias
LEAST_BIAS = 0.1  # of the give or take: a smaller bias has no way
LEAST_SHOWN = 0.005  # of the tolerance: a smaller worth is not told


def with_words(document: dict[str, Any], units: System) -> dict[str, Any]:
    """The forecast with the sentence of what to do first."""
    forecast = msgspec.convert(document, Forecast)
    if forecast.first is None:
        return document
    words = first_words(forecast.first, forecast, units)
    return {**document, "first": {**document["first"], "words": words}}


def first_words(first: FirstAdvice, forecast: Forecast, units: System) -> str:
    if first.assumed:
        act = NEVER_MEASURED[first.part]
    elif first.act == "measure":
        act = f"Measure better first: {spaced(first.check)}, with more passes"
    elif first.together_with is not None:
        other = CAUSE_NAMES[first.together_with]
        act = f"{PUT_RIGHT[first.part]} together with {other}"
    else:
        act = PUT_RIGHT[first.part]
    return f"{act}: that gains {_over_cut(first.worth, forecast, units)}."


def forecast_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """The whole forecast for the command line."""
    forecast = msgspec.convert(document, Forecast)
    if forecast.jig is not None:
        yield f"{forecast.jig}{f' on {forecast.saw}' if forecast.saw else ''}:"
    yield from answer_lines(document, units)
    yield from _together(forecast, units)
    for row in forecast.rows:
        yield f"  {row_words(row, forecast, units)}"
    if forecast.frame is not None:
        value, give = forecast.frame.value, forecast.frame.uncertainty
        way = "wider" if value > 0 else "tighter"
        much = slope_words(abs(value), units, uncertainty=give)
        yield f"  Frame of four corners: the last joint {way} by {much}."
    for lean in forecast.thickness:
        much = slope_words(abs(lean.value), units, uncertainty=lean.uncertainty)
        yield f"  Across the thickness the {LEAN_NAMES[lean.part]} leans by {much}."
    if forecast.missing:
        missing = in_a_row([spaced(kind) for kind in forecast.missing])
        yield f"Not measured here: {missing}."


def answer_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """The forecast, and last what to do first: a sentence each."""
    forecast = msgspec.convert(document, Forecast)
    board = nominal_words(forecast.board_mm, units)
    cut = nominal_words(forecast.cut_mm, units)
    yield f"{board} board, {cut} cut:"
    yield f"{upper_first(square_words(forecast, units))}."
    yield f"From cut to cut it varies by {_over_cut(forecast.spread, forecast, units)}."
    limit = slope_words(forecast.tolerance, units)
    share = round(forecast.good_share * 100)
    yield f"{share} of 100 parts come out good enough: within {limit}."
    within = _over_cut(forecast.within_95, forecast, units)
    yield f"95 of 100 parts stay within {within}."
    if forecast.first is None:
        yield "Nothing that could be put right would gain enough to matter."
        return
    yield first_words(forecast.first, forecast, units)


def _together(forecast: Forecast, units: System) -> Iterator[str]:
    """The two parts that gain most together, where they gain more than the first."""
    first, pair = forecast.first, forecast.pair
    if first is None or first.act != "put-right" or pair is None:
        return
    if pair.worth > first.worth:
        parts = " and ".join(CAUSE_NAMES[part] for part in pair.parts)
        much = _over_cut(pair.worth, forecast, units)
        yield f"{upper_first(parts)} together: that gains {much}."


def square_words(forecast: Forecast, units: System) -> str:
    """Turned counter-clockwise, the edge on the sled fence opens the corner of a part
    that lies to the left of the cut, which is then longer away from the fence."""
    value, give = abs(forecast.square.value), forecast.square.uncertainty
    if any(row.part == "fence" and row.assumed for row in forecast.rows):
        usual = _over_cut(give, forecast, units)
        return f"not measured yet: a usual sled is within {usual}"
    much = give_or_take(value * forecast.cut_mm, give * forecast.cut_mm, units)
    if value < LEAST_BIAS * give:
        return f"square, {much}"
    longer = (forecast.square.value > 0) == (forecast.at != "right")
    return f"{'longer' if longer else 'shorter'} away from the sled fence: {much}"


def row_words(row: TermRow, forecast: Forecast, units: System) -> str:
    """One cause: how much, from which result, and what putting it right gains."""
    source = (
        "not measured: a usual figure"
        if row.assumed
        else f"{spaced(row.check)}, {_age(row.age_days)}"
    )
    least = LEAST_SHOWN * forecast.tolerance
    gain = ""
    if row.worth > least:
        gain = f" Putting it right gains {_over_cut(row.worth, forecast, units)}."
    elif row.worth < -LEAST_WORTH * forecast.tolerance:
        gain = " Leave it alone: it makes up for another fault."
    part, much = upper_first(CAUSE_NAMES[row.part]), _much(row, forecast, units)
    return f"{part}: {much} ({source}).{gain}"


def _much(row: TermRow, forecast: Forecast, units: System) -> str:
    if row.part in FROM_CUT_TO_CUT:
        much = _over_cut(row.standard_uncertainty, forecast, units)
        return f"varies by {much}"
    give = row.standard_uncertainty * t_quantile(CONFIDENCE, None) * forecast.cut_mm
    against = " the other way" if row.value * forecast.square.value < 0 else ""
    return f"{give_or_take(abs(row.value) * forecast.cut_mm, give, units)}{against}"


def _over_cut(rad: float, forecast: Forecast, units: System) -> str:
    """An angle as a length over the cut, in two digits at the most."""
    mm = abs(rad) * forecast.cut_mm
    return rounded_words(mm, mm / 10, units)


def _age(days: int | None) -> str:
    if not days:
        return "today"
    return "a day old" if days == 1 else f"{days} days old"


def sled_lines(document: dict[str, Any], units: System) -> Iterator[str]:
    """All sleds of the shop, a line each."""
    for sled in document["sleds"]:
        within = slope_words(sled["within_95"], units)
        worst = f"; first {CAUSE_NAMES[sled['worst']]}" if sled["worst"] else ""
        date = f"; look again by {sled['next']}" if sled["next"] else ""
        state = SLED_STATES[sled["state"]]
        yield f"{sled['jig']}: {state}, 95 of 100 parts within {within}{worst}{date}"
