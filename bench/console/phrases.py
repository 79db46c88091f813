"""What is known, in the words of the bench: verdicts, sizes, ways, next acts. Pure;
nothing knows a check by name."""

from __future__ import annotations

import math

from bench.console.glyphs import Glyphs
from bench.console.heard import Heard
from bench.console.text import Role
from bench.finding import Remark
from bench.protocol import Finding, Jig, Move, Quantity
from bench.render.finding import MOVED_WRONG, VERDICTS, settle_words
from bench.render.remarks import remark_words
from bench.units import (
    INCH,
    System,
    across,
    give_or_take,
    length_words,
    rounded_words,
    slope_words,
)

WAYS = {"away": "AWAY from you", "toward": "TOWARD you"}
BOARD = 400.0  # mm: the board a rotation is told across where no widest board is known

_ROLES: dict[str, Role] = {"inside": "good", "outside": "bad", "cannot-tell": "unsure"}


def verdict(said: str | None, glyphs: Glyphs) -> tuple[str, str, Role]:
    """Sign, words and role of a verdict."""
    words = VERDICTS[said] if said is not None else "measured"
    sign = {
        "inside": glyphs.good,
        "outside": glyphs.bad,
        "cannot-tell": glyphs.unsure,
    }.get(said or "", glyphs.none)
    return sign, words, _ROLES.get(said or "", "text")


def name(kind: str) -> str:
    """`fence-square` -> `fence square`: what the daemon calls a thing, as words."""
    return kind.replace("-", " ").replace("_", " ").strip()


def upper_first(text: str) -> str:
    return text[:1].upper() + text[1:]


def number(heard: Heard, units: System) -> tuple[str, str]:
    """The large number and its unit; blanks where there is none."""
    if heard.value is None:
        return "---", "mm" if units == "mm" else "in"
    coarse = heard.role in ("travel", "caliper")
    if units == "mm":
        return _tidy(f"{heard.value:.{2 if coarse else 3}f}"), "mm"
    return _tidy(f"{heard.value / INCH:.{3 if coarse else 4}f}"), "in"


def travelled(heard: Heard, units: System) -> tuple[str, str]:
    """The travel beside the number: a tenth of a millimetre tells where the sled is."""
    value = heard.value or 0.0
    return (
        (_tidy(f"{value:.1f}"), "mm")
        if units == "mm"
        else (_tidy(f"{value / INCH:.2f}"), "in")
    )


def small(mm: float, uncertainty: float, units: System) -> tuple[str, str]:
    """A distance still to go: large figures, as many as its uncertainty carries, and
    their unit."""
    number, _, unit = rounded_words(mm, uncertainty, units).partition(" ")
    return number, unit


def _tidy(text: str) -> str:
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def size(
    q: Quantity, units: System, board: float | None, *, tell_board: bool = True
) -> str:
    """How large, without sign: the way says which way."""
    if q.unit == "rad" and board is not None and not tell_board:
        return give_or_take(abs(q.value) * board, q.uncertainty * board, units)
    if q.unit == "mm":
        return give_or_take(abs(q.value) if q.way else q.value, q.uncertainty, units)
    if board is None:
        return slope_words(abs(q.value), units, uncertainty=q.uncertainty)
    return across(abs(q.value), board, units, q.uncertainty)


def limit(q: Quantity, units: System) -> str:
    if q.tolerance is None:
        return ""
    words = (
        length_words(q.tolerance, units)
        if q.unit == "mm"
        else slope_words(q.tolerance, units)
    )
    return f"good enough within {words}"


def headline(finding: Finding, units: System, board: float | None) -> list[str]:
    """The first quantity as a person says it: which way, then how far across their own
    board."""
    q = finding.quantities[0]
    lines = [upper_first(q.way) + "."] if q.way else []
    if q.unit == "rad":
        width = board or BOARD
        whose = "your" if board is not None else "a"
        rise = give_or_take(abs(q.value) * width, q.uncertainty * width, units)
        across = f"across {whose} {length_words(width, units)} board: {rise}."
        lines.append(upper_first(across if q.way else f"{name(q.name)} {across}"))
    else:
        lines.append(f"{upper_first(name(q.name))}: {size(q, units, board)}.")
    if q.tolerance is not None:
        lines.append(upper_first(limit(q, units)) + ".")
    return lines


def in_short(finding: Finding, units: System, board: float | None) -> str:
    """Which way and how far in one sentence."""
    q = finding.quantities[0]
    way = upper_first(q.way or name(q.name))
    return f"{way}: {size(q, units, board or BOARD if q.unit == 'rad' else board)}."


def others(finding: Finding, units: System) -> list[str]:
    """The other quantities, a line each."""
    lines = []
    for q in finding.quantities[1:]:
        way = f"{q.way}, " if q.way else ""
        # a turn, not a slope
        if q.unit == "rad" and abs(q.value) + q.uncertainty > TURN:
            much = f"give or take {math.degrees(q.uncertainty):.1f} degrees"
            lines.append(
                f"{upper_first(name(q.name))}:"
                f" {way or f'{math.degrees(q.value):.0f} degrees, '}{much}."
            )
            continue
        lines.append(f"{upper_first(name(q.name))}: {way}{size(q, units, None)}.")
    return lines


def short_move(move: Move, units: System) -> str:
    return (
        f"Move the {move.end} end {move.way.upper()}"
        f" {length_words(move.distance, units, 3 if units == 'mm' else 1)}."
    )


def leaves(move: Move, jig: Jig | None, units: System) -> list[str]:
    """Which leaves, and where they go."""
    if not move.leaves:
        return ["No leaf fits: do it live."]
    stack = " + ".join(length_words(leaf, units) for leaf in move.leaves)
    lines = [f"Leaves: {stack}."]
    over = move.leaves_left_over
    if abs(over) >= 0.0005:
        word = "short of" if over > 0 else "more than"
        much = length_words(abs(over), units, 3 if units == "mm" else 1)
        lines.append(f"That is {much} {word} the distance.")
    if jig is not None:
        reach = (
            jig.pivot_to_stop if jig.pivot_to_stop is not None else jig.pivot_to_screw
        )
        if reach is not None:
            lines.append(
                f"They go {length_words(reach, units)} from the pivot, at the"
                f" {move.end} end."
            )
    return lines


TURN = 0.1  # rad: more is no slope of anything on a saw


def diagnosis(finding: Finding) -> Remark | None:
    """What went wrong with the move, as the verifying passes tell it; None where
    nothing did."""
    return next((r for r in finding.remarks if r.code in MOVED_WRONG), None)


def next_act(finding: Finding | None, units: System) -> str:
    """What to do now, from the last result: one sentence."""
    if finding is None:
        return "Nothing measured yet. Begin a check."
    if finding.verdict == "cannot-tell":
        return settle_words(finding, units)
    if finding.proposed is not None:
        return short_move(finding.proposed, units)
    if finding.verdict == "inside":
        return "Good enough: nothing to move. Stop here."
    if finding.verdict == "outside":
        act = next((r for r in finding.remarks if r.severity == "act"), None)
        if act is not None:  # the check itself knows what to take off, and where
            return remark_words(act, units)
        return "Put it right, then check again."
    return "Measured; no limit is set for a verdict."


def row(
    finding: Finding,
    units: System,
    board: float | None,
    glyphs: Glyphs,
    *,
    short: bool = False,
) -> str:
    """One line of past results: day, sign, what, how much; short, the day, the sign and
    the verdict."""
    sign, words, _ = verdict(finding.verdict, glyphs)
    q = finding.quantities[0] if finding.quantities else None
    if short:
        return f"{finding.at[5:10]} {sign} {words}, {name(finding.check)}"
    much = "" if q is None else f", {size(q, units, board, tell_board=False)}"
    return (
        f"{finding.at[:16].replace('T', ' ')} {sign} {name(finding.check)}:"
        f" {words}{much}"
    )


def part_size(standard: float, unit: str, units: System, board: float | None) -> str:
    """One standard uncertainty, across the board where it is an angle."""
    return length_words(standard * ((board or BOARD) if unit == "rad" else 1.0), units)


def age(seconds: float) -> str:
    """`now`, `7 s ago`, `3 min ago`: in steps, so that an old number does not flicker."""
    if seconds < 1.5:
        return "now"
    if seconds < 10:
        return f"{seconds:.0f} s ago"
    if seconds < 60:
        return f"{seconds // 10 * 10:.0f} s ago"
    if seconds < 5400:
        return f"{seconds // 60:.0f} min ago"
    return f"{seconds // 3600:.0f} h ago"


def next_age(seconds: float) -> float:
    """s until the words of `age` change."""
    if seconds < 1.5:
        return 1.5 - seconds
    if seconds < 10:
        return round(seconds) + 0.5 - seconds
    step = 10.0 if seconds < 60 else 60.0 if seconds < 5400 else 3600.0
    return (seconds // step + 1) * step - seconds
