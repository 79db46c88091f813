"""The live number, large; or CLOSES, where the result is of a rip fence that does."""

from __future__ import annotations

from bench.console import readout
from bench.console.instrument_view import STATES
from bench.console.large_digits import ROWS, columns, large_text
from bench.console.navigation import Navigation
from bench.console.text import Block, Line, Role, fit, width, wrap
from bench.console.view_model import ViewModel
from bench.render.result import DIRECTIONS, surely_closes

ASIDE = 17  # columns beside the number for unit, way and travel


def number_panel(
    state: ViewModel, navigation: Navigation, wide: int, size: str
) -> Block:
    """The live number large, with its unit and its way beside (or, where narrow, below:
    one row more)."""
    below = wide < 56
    text, unit, way, role = _number(state)
    if _closes(state):
        text, role = "CLOSES", "bad"
        aside = _beside_closes(state)
    else:
        aside = _aside(state, unit, way, role, room=wide - 12 if below else ASIDE - 2)
    if size == "row":
        return [[(f" {text} ", role), *_below(aside, wide - len(text) - 2)]]
    room = wide - 2 if below else wide - ASIDE - 1
    for smaller in (size, "large", "small"):
        if ROWS[smaller] <= ROWS[size] and columns(text, smaller) <= room:
            size = smaller
            break
    rows = large_text(text, size, navigation.glyphs)
    block: Block = [[(" " + row.rjust(room), role)] for row in rows]
    if below:
        return [*block, _below(aside, wide)]
    return [
        [*line, ("  ", "text"), *aside[n]] if n < len(aside) else line
        for n, line in enumerate(block)
    ]


def _closes(state: ViewModel) -> bool:
    """At rest, and the result on the screen is of a rip fence that closes: a danger
    that is told in large letters in place of the live number."""
    at_rest = state.ask is None and state.live is None and state.learn is None
    finding = state.finding if at_rest and state.here else None
    return finding is not None and surely_closes(finding)


def _beside_closes(state: ViewModel) -> list[Line]:
    lines: list[Line] = [[("at the rear", "bad")], [("DANGER: open it", "bad")]]
    shown = state.shown
    if shown is not None and shown.live:
        text, unit = readout.number(shown, state.units)
        lines.append([(f"now {text} {unit}", "faint")])
    return lines


def _number(state: ViewModel) -> tuple[str, str, str, Role]:
    """Figures, unit, way in words, role."""
    live = state.live
    if live is not None and live.to_go is not None and live.phase != "lean":
        text, unit = readout.to_go(
            abs(live.to_go), live.uncertainty or 0.0, state.units
        )
        way = (
            "there"
            if live.there
            else f"{live.end} end {DIRECTIONS[live.way]}"
            if live.way
            else ""
        )
        return text, unit, way, "number"
    instrument = state.shown
    if instrument is None or not state.here:
        return "---", "", "no reading", "stale"
    text, unit = readout.number(instrument, state.units)
    if not instrument.live or instrument.value is None:
        return "---", unit, STATES.get(instrument.state, instrument.state), "stale"
    if not instrument.fresh(state.clock()):
        assert instrument.at is not None
        return text, unit, readout.age(state.clock() - instrument.at), "stale"
    return text, unit, instrument.way(), "number"


def _aside(
    state: ViewModel, unit: str, way: str, role: Role, *, room: int = ASIDE - 2
) -> list[Line]:
    """Unit, way (over as many lines as it takes), travel and its way."""
    instrument = state.shown
    name = instrument.name if instrument is not None else ""
    if (
        state.live is not None
        and state.live.to_go is not None
        and state.live.phase != "lean"
    ):
        name = (
            "past it"
            if state.live.past
            else "wrong way"
            if state.live.wrong
            else "to go"
        )
    head = f"{unit} {name}".strip()
    lines: list[Line] = [[(head, "strong")]] if head else []
    loud: Role = "strong" if state.live is not None else "text"
    lines.extend(wrap(way, room, loud if role == "number" else "unsure")[:2])
    travel = next(
        (
            one
            for one in state.instruments.values()
            if one.role == "travel" and one.live
        ),
        None,
    )
    if travel is not None and state.here:
        travelled = readout.travelled(travel, state.units)
        lines.append([(f"travel {travelled}", "faint")])
        if len(lines) < 4:
            lines.append([(travel.way(), "faint")])
    return lines


def _below(parts: list[Line], wide: int) -> Line:
    """Unit and way in one row under the figures, or behind them."""
    line: Line = [(" ", "text")]
    for n, part in enumerate(parts):
        if n and width(line) + width(part) + 2 > wide:
            break
        line.extend([(", " if n else "", "faint"), *part])
    return fit(line, wide)


def number_rows(wide: int, size: str) -> int:
    return 1 if size == "row" else ROWS[size] + (1 if wide < 56 else 0)
