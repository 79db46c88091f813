"""Sentences about a result, for screen and command line alike: what is, how much, what
to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from bench.finding import Finding, Move, Quantity, Remark
from bench.gear import Jig
from bench.moves.alignment import CLOSES, OPENS
from bench.render.finding import (
    MOVED_WRONG,
    VERDICTS,
    good_enough_words,
    limit_words,
    quantity_words,
    settle_words,
    shown_way,
    size,
)
from bench.render.names import quantity_name, upper_first
from bench.render.remarks import leading_remark, remark_words
from bench.render.template import WAYS
from bench.units import (
    PER_INCH,
    PER_MM,
    THOU,
    System,
    give_or_take,
    length_words,
    nominal_words,
    per_words,
    rounded_words,
    span_words,
    value_words,
)

THROWN_BACK = "Work can bind behind the blade and be thrown back: open it."
MEASURED = "measured"  # the verdict where no limit is set
# what leans, and how it is put right, by the name of the quantity
UPRIGHT = {
    "fence-lean": ("sled fence", "Bring the sled fence's top back as much"),
    "blade-lean": ("blade", "Set the blade upright by the saw's manual"),
}
LEAST_SHARE = 0.005  # of a result's variance; a part below it is not told
LEAST_TOLD: dict[System, float] = {"mm": 0.001, "inch": 0.1 * THOU}  # mm: a last digit
LEAST_LEFT_OVER = 0.0005  # mm, half of the last digit that is shown


class Headline(msgspec.Struct, frozen=True):
    """The opening of a result. danger: what can hurt someone, None where nothing can.
    lead: read first, in large. small: said after it."""

    danger: str | None
    lead: list[str]
    small: list[str]


def verdict_words(verdict: str | None) -> str:
    return MEASURED if verdict is None else VERDICTS[verdict]


def judged(finding: Finding) -> Quantity:
    """The quantity that the verdict is about; the first where none has a verdict."""
    return next((q for q in finding.quantities if q.verdict), finding.quantities[0])


def is_good(finding: Finding) -> bool:
    """Good enough; or measured, and between the least and the most that is good."""
    if finding.verdict is not None or not finding.quantities:
        return finding.verdict == "inside"
    q = judged(finding)
    return q.band is not None and q.band[0] <= q.value <= q.band[1]


def slope_span(board: float | None, units: System) -> float:
    """mm over which an angle is told: the user's own board, else 300 mm or a foot."""
    return board or (PER_MM if units == "mm" else PER_INCH)


def slope_span_words(board: float | None, units: System) -> str:
    """`across 400 mm` of the user's own board, else `per 300 mm`."""
    if board is not None:
        return f"across {nominal_words(board, units)}"
    return f"per {per_words(units)}"


def size_on_board(q: Quantity, units: System, board: float | None) -> str:
    """`size`, told of the user's own board: `0.12 mm ... across your 400 mm board`."""
    if q.unit == "mm" or board is None or q.over is not None:
        return size(q, units, board)
    rise = give_or_take(abs(q.value) * board, q.uncertainty * board, units)
    return f"{rise} across your {nominal_words(board, units)} board"


def limit(q: Quantity, units: System, board: float | None) -> str:
    if q.tolerance is None:
        return ""
    return f"{upper_first(good_enough_words(q, units, board))}."


def danger(finding: Finding, units: System) -> str | None:
    """The warning before all else: a rip fence that closes throws work back."""
    q = judged(finding)
    if q.way != CLOSES:
        return None
    sure = surely_closes(finding)
    how = "closes at the rear by" if sure else "may close at the rear:"
    return f"DANGER: the rip fence {how} {size(q, units, None)}."


def dangers(newest_first: Sequence[Finding], units: System) -> Iterator[str]:
    """What is said of those whose danger stands."""
    for one in dangerous(newest_first):
        of = ", ".join(filter(None, (one.at[:10], one.saw or one.jig)))
        yield f"{danger(one, units)} {of}."


def dangerous(newest_first: Sequence[Finding]) -> Iterator[Finding]:
    """Those whose danger nothing newer of the same check on the same saw denies."""
    newest = {(one.check, one.saw): one for one in reversed(newest_first)}
    for one in reversed(newest.values()):
        if one.quantities and judged(one).way == CLOSES:
            yield one


def danger_remark(finding: Finding) -> Remark | None:
    """The check's own remark on the danger, which `danger` says first."""
    return next((r for r in finding.remarks if r.code == "closes"), None)


def opening(finding: Finding) -> float | None:
    """The opening of a rip fence at the rear, in the quantity's unit; negative: it
    closes. None where the result is of something else."""
    q = judged(finding)
    return {OPENS: abs(q.value), CLOSES: -abs(q.value)}.get(q.way or "")


def good_edges(limit: float, above: str, below: str) -> list[float]:
    """From where to where a value is good; above, below: what it means on that side of
    zero. A rip fence may open and must not close."""
    return [0.0 if below == CLOSES else -limit, 0.0 if above == CLOSES else limit]


def surely_closes(finding: Finding) -> bool:
    """True where a rip fence closes by more than the give or take."""
    q = judged(finding) if finding.quantities else None
    return q is not None and q.way == CLOSES and abs(q.value) > q.uncertainty


def way_words(q: Quantity) -> str:
    """`left end too near you`; of a check of two things also which: `blade's top leans
    to the left`. Empty where there is no way."""
    of = f"{UPRIGHT[q.name][0]}'s " if q.way and q.name in UPRIGHT else ""
    return of + shown_way(q)


def headline(
    finding: Finding, units: System, board: float | None, *, large: bool = False
) -> Headline:
    """The judged quantity as a person says it. board: mm, the user's widest board where
    the result is of a sled fence, else None. large: beside it stands the large figure,
    which says what is good enough over its own length."""
    q = judged(finding)
    way, much = upper_first(way_words(q)), size_on_board(q, units, board)
    warning = danger(finding, units)
    known = large and warning is None and (board is None or q.unit == "mm")
    small = [limit(q, units, board)] if q.tolerance is not None and not known else []
    if warning is not None:
        return Headline(warning, [THROWN_BACK], small)
    beside = leading_remark(finding)
    lead = [] if beside is None else [remark_words(beside, units)]
    if finding.verdict == "inside":
        if way and q.way != OPENS:
            small.insert(0, f"{way}: too little to matter.")
        return Headline(None, [*lead, short_sentence(finding, units, board)], small)
    if not way:
        return Headline(
            None, [*lead, f"{upper_first(quantity_name(q.name))}: {much}."], small
        )
    told = much if q.unit == "rad" else f"{upper_first(quantity_name(q.name))}: {much}"
    return Headline(None, [*lead, f"{way}.", f"{told}."], small)


def short_sentence(finding: Finding, units: System, board: float | None) -> str:
    """The result and its size in one sentence."""
    q = judged(finding)
    warning = danger(finding, units)
    if warning is not None:
        return warning
    if finding.verdict == "inside":
        what = (
            f"{q.way}, "
            if q.way == OPENS
            else f"{quantity_name(q.name)} " * (q.unit == "mm")
        )
        return f"Good: {what}{size_on_board(q, units, board)}."
    what = way_words(q) or quantity_name(q.name)
    return f"{upper_first(what)}: {size(q, units, board)}."


def is_exact_zero(q: Quantity) -> bool:
    """An exact zero, such as what is to be taken off a runner that fits."""
    return q.unit == "mm" and q.value == q.uncertainty == 0.0


def other_quantities(finding: Finding, units: System) -> list[str]:
    """The other quantities, a line each."""
    first = judged(finding)
    return [
        quantity_words(q, units)
        for q in finding.quantities
        if q is not first and not is_exact_zero(q)
    ]


def move_distance(move: Move, units: System) -> str:
    """In as many digits as its uncertainty carries."""
    return rounded_words(move.distance, move.uncertainty, units)


def short_move(move: Move, units: System) -> str:
    end = f"{move.end} end"
    if move.fence is not None:
        end = f"{move.fence} fence's {end}"
    return f"Move the {end} {move_distance(move, units)} {WAYS[move.way]}."


def leaves(move: Move, jig: Jig | None, units: System) -> list[str]:
    """The leaves to stack, and their place."""
    if not move.leaves:
        return ["No leaf fits: do it live."]
    stack = " + ".join(length_words(leaf, units) for leaf in move.leaves)
    lines = [f"Leaves: {stack}."]
    over = move.leaves_left_over
    if abs(over) > max(move.uncertainty, LEAST_LEFT_OVER):
        word = "short of" if over > 0 else "more than"
        much = rounded_words(abs(over), move.uncertainty, units)
        lines.append(f"That is {much} {word} the distance.")
    if jig is not None:
        stop, screw = jig.pivot_to_stop, jig.pivot_to_screw
        reach = screw if stop is None else stop
        if reach is not None:
            lines.append(
                f"They go {nominal_words(reach, units)} from the pivot, at the"
                f" {move.end} end."
            )
    return lines


def diagnosis(finding: Finding) -> Remark | None:
    """The fault of the move, as the verifying passes tell it; None where there is
    none."""
    return next((r for r in finding.remarks if r.code in MOVED_WRONG), None)


def act_remark(finding: Finding) -> Remark | None:
    """The check's own remark on what is to be done, such as what to take off, and
    where; None where there is none, or where the verdict or the move says it."""
    if finding.proposed is not None or finding.verdict in ("inside", "cannot-tell"):
        return None
    return next((r for r in finding.remarks if r.severity == "act"), None)


def next_act(finding: Finding | None, units: System) -> str:
    """The next act, from the last result: one sentence."""
    if finding is None:
        return "Nothing measured yet. Begin a check."
    if finding.verdict == "cannot-tell":
        return settle_words(finding, units)
    if finding.proposed is not None:
        return short_move(finding.proposed, units)
    if finding.verdict == "inside":
        return "Good enough: nothing to move. Stop here."
    act = act_remark(finding)
    if act is not None:
        return remark_words(act, units)
    if finding.verdict == "outside":
        which = judged(finding).name if finding.quantities else ""
        _, how = UPRIGHT.get(which, ("", "Put it right"))
        return f"{how}, then check again."
    return "Measured; no limit is set for a verdict."


def _span_of(q: Quantity, units: System, board: float | None) -> tuple[float, str]:
    """mm over which an angle is told, and that in words; 1 and none of a length."""
    if q.unit != "rad":
        return 1.0, ""
    if q.over is not None:
        return q.over, f"over {span_words(q.over, units)}"
    return slope_span(board, units), slope_span_words(board, units)


def large_size(q: Quantity, units: System, board: float | None) -> tuple[str, str]:
    """The size alone, in the digits of the sentence that tells its give or take, with
    its unit; and over which length it is told, empty where it is a length itself."""
    span, over = _span_of(q, units, board)
    return value_words(abs(q.value) * span, q.uncertainty * span, units), over


def figure_parts(
    q: Quantity, units: System, board: float | None
) -> tuple[str, str, str, str]:
    """`large_size` with its figures and its unit apart; and what is good enough, over
    the same length, empty where no limit is set."""
    words, over = large_size(q, units, board)
    figures, _, unit = words.partition(" ")
    good = ""
    if q.band is not None:
        good = f"good {limit_words(q, units)}"
    elif q.tolerance is not None:
        limit = length_words(q.tolerance * _span_of(q, units, board)[0], units)
        good = f"good {'up to' if q.way in (OPENS, CLOSES) else 'within'} {limit}"
    return figures, unit, over, good.removesuffix(f" {unit}")


def short_size(finding: Finding, units: System, board: float | None) -> str:
    """`large_size` of the judged quantity; a rip fence's way with it."""
    q = judged(finding)
    much = large_size(q, units, board)[0]
    return f"{q.way} {much}" if q.way in (OPENS, CLOSES) else much


def part_size(standard: float, unit: str, units: System, board: float | None) -> str:
    """The give or take that one part alone leaves, over the length an angle is told."""
    give = 2.0 * standard * (slope_span(board, units) if unit == "rad" else 1.0)
    if 0.0 < give < LEAST_TOLD[units] / 2:
        return f"under {length_words(LEAST_TOLD[units], units)}"
    return rounded_words(give, give, units)


_OTHER_WAY = {
    "too near you": "too far from you",
    "left": "right",
    "opens": "closes",
    "wider": "tighter",
    "toward you": "away from you",
}


def opposite(way: str) -> str:
    """The way on the other side of zero: of the same end where it is an end that stands
    too near or too far. The way itself where a size has none."""
    both = {**_OTHER_WAY, **{other: one for one, other in _OTHER_WAY.items()}}
    for one, other in both.items():
        if " " in one and one in way:
            return way.replace(one, other)
    return " ".join(both.get(word, word) for word in way.split())
