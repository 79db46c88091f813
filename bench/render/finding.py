"""A finding in words for the person at the saw; nothing here knows a check by name."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from bench.finding import Finding, Quantity, UnreadableRecord
from bench.moves.alignment import CLOSES, OPENS
from bench.render.names import part_name, quantity_name, upper_first
from bench.render.template import sentence
from bench.units import (
    System,
    across,
    bow_words,
    give_or_take,
    length_words,
    slope_words,
    span_words,
)

LARGEST_SLOPE = 0.1  # rad: more is no slope of anything on a saw
VERDICTS = {
    "inside": "good enough",
    "outside": "out",
    "cannot-tell": "too close to call",
}
NO_VERDICT = "measured; no limit is set for a verdict"
# what would settle a result, by the field that says how much of it
SETTLES = {
    "sweeps": "{sweeps} passes in all would settle it.",
    "checks": (
        "After {checks} whole checks in the log the next one can tell. They show how"
        " far set-ups differ."
    ),
    "length": "A pass of {length:length} would settle it.",
    "resolution": "An indicator that reads to {resolution:length} would settle it.",
}
SETTLES_NOT = {
    "passes": (
        "More than 12 passes a set-up would be needed. Look for what sets them apart,"
        " such as seat or hold."
    ),
    "set-up": "Too near the limit for this set-up. What limits it most: {part}.",
}
# what went wrong with a move, by the remark's code
MOVED_WRONG = {
    "moved-wrong-way": "wrong way",
    "hardly-moved": "hardly moved",
    "moved-too-far": "too far",
}


# ways of a shape that one word does not tell
_SHAPES = {"crown": "proud in the middle", "hollow": "hollow in the middle"}


def shown_way(q: Quantity) -> str:
    """Which way, in words; empty where there is none."""
    return _SHAPES.get(q.way or "", q.way or "")


def quantity_words(q: Quantity, units: System, board: float | None = None) -> str:
    """`Sled fence: left end too near you, 0.12 mm give or take 0.01 mm.`, and whether
    and within what it is good enough. What is shown as zero has no way."""
    much = size(q, units, board)
    zero = much == size(msgspec.structs.replace(q, value=0.0), units, board)
    way = f"{shown_way(q)}, " if q.way and not zero else ""
    line = f"{upper_first(quantity_name(q.name))}: {way}{much}."
    if q.tolerance is not None:
        good = good_enough_words(q, units, board)
        verdict = "" if q.verdict in (None, "inside") else f"{VERDICTS[q.verdict]}: "
        line += f" {upper_first(verdict + good)}."
    return line


def size(q: Quantity, units: System, board: float | None = None) -> str:
    """The size without sign: the way says which way. An angle is told over its own
    length, else across the board; one that is no slope is a turn in degrees."""
    if q.unit == "mm":
        return give_or_take(abs(q.value) if q.way else q.value, q.uncertainty, units)
    if q.unit == "1/mm":
        return bow_words(q.value, units, q.uncertainty)
    if abs(q.value) + q.uncertainty > LARGEST_SLOPE:
        where = "" if q.way else f"{math.degrees(q.value):.0f} degrees, "
        give = math.degrees(q.uncertainty)
        return f"{where}give or take {give:.{0 if give > 9.5 else 1}f} degrees"
    if q.over is not None:
        return size_over_length(q, units)
    if board is not None:
        return across(abs(q.value), board, units, q.uncertainty)
    return slope_words(abs(q.value), units, uncertainty=q.uncertainty)


def size_over_length(q: Quantity, units: System) -> str:
    """An angle over its own length: `0.12 mm give or take 0.02 mm over 160 mm`."""
    over = q.over or 0.0
    rise = give_or_take(abs(q.value) * over, q.uncertainty * over, units)
    return f"{rise} over {span_words(over, units)}"


def good_enough_words(q: Quantity, units: System, board: float | None = None) -> str:
    """`good enough within 0.05 mm`; `from 0.03 to 0.15 mm` where too little is a fault
    as well, and of a rip fence, which is never to close, opening `up to 0.05 mm`."""
    word = "within" if q.band is None else "from"
    if q.way in (OPENS, CLOSES):
        word = "opening by up to"
    return f"good enough {word} {limit_words(q, units, board)}"


def limit_words(q: Quantity, units: System, board: float | None = None) -> str:
    """The limit of a quantity that has one, as its size is told."""
    tolerance = q.tolerance or 0.0
    if q.band is not None:
        least, most = (length_words(mm, units).split(" ", 1) for mm in q.band)
        unit = "" if least[1:] == most[1:] else f" {least[1]}"
        return f"{least[0]}{unit} to {' '.join(most)}"
    if q.unit == "mm":
        return length_words(tolerance, units)
    if q.over is not None:
        over = span_words(q.over, units)
        return f"{length_words(tolerance * q.over, units)} over {over}"
    if board is not None:
        return f"{across(tolerance, board, units)} ({slope_words(tolerance, units)})"
    return slope_words(tolerance, units)


def settle_words(finding: Finding, units: System) -> str:
    """The means to settle a result that is too close to call, or plainly that this set-
    up cannot."""
    settle = finding.settle
    if settle is None:
        return "What would settle it is not known; the notes say why."
    for name, template in SETTLES.items():
        if getattr(settle, name) is not None:
            return sentence(template, msgspec.structs.asdict(settle), units)
    template = SETTLES_NOT["set-up" if names_what_limits(finding) else "passes"]
    return sentence(template, {"part": part_name(settle.part)}, units)


def names_what_limits(finding: Finding) -> bool:
    """True where `settle_words` names what limits the result most."""
    settle = finding.settle
    if finding.verdict != "cannot-tell" or settle is None:
        return False
    settles = any(getattr(settle, name) is not None for name in SETTLES)
    return not settles and settle.part != "between sweeps"


def unread_words(unread: Sequence[UnreadableRecord]) -> str:
    """The parts of the log that could not be read, each counted once, with its number
    and its date."""
    lines = []
    for what, (one, several) in _UNREAD.items():
        found = {u.number: u.at for u in unread if u.what == what}
        if found:
            which = ", ".join(
                f"{n} ({at[:10]})" if at is not None else str(n)
                for n, at in sorted(found.items())[:_MOST_TOLD]
            )
            rest = len(found) - _MOST_TOLD
            more = f" and {rest} more" if rest > 0 else ""
            lines.append(
                f"{len(found)} {several if len(found) > 1 else one} could not be read:"
                f" number {which}{more}."
            )
    return " ".join([*lines, "The others are not affected."])


_UNREAD = {
    "result": ("result", "results"),
    "evidence": ("result's passes", "results' passes"),
    "move": ("move", "moves"),
}
_MOST_TOLD = 10  # of them are named
