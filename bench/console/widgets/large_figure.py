"""The large figure: the live number, the distance still to go, or the result's size."""

from __future__ import annotations

from bench.console import readout
from bench.console.instrument_view import STATES
from bench.console.large_digits import ROWS, columns, large_text
from bench.console.text import Block, Line, Role, fit, width, wrap
from bench.console.view_model import ViewModel
from bench.console.widgets.drawing import Drawing
from bench.render.template import WAYS

ASIDE = 21  # columns beside the figure for its unit, its way and the travel
NARROW = 56  # columns under which they stand below it


def figure_rows(text: str, wide: int, high: int) -> str | None:
    """The size of digits that fits; None where only a row of text does."""
    for size in ("huge", "large", "small"):
        if ROWS[size] <= high and columns(text, size) <= wide:
            return size
    return None


class LargeFigure(Drawing):
    """A subclass says which figure. Beside it, or where narrow below it, stand its unit
    and up to four short lines."""

    def figure(self) -> tuple[str, Role]:
        raise NotImplementedError

    def aside(self, room: int) -> list[Line]:
        raise NotImplementedError

    def draw(self, wide: int, high: int) -> Block:
        text, role = self.figure()
        below = wide < NARROW
        aside = self.aside(wide - 12 if below else ASIDE - 2)
        room = wide - 2 if below else wide - ASIDE - 1
        size = figure_rows(text, room, high - below)
        if size is None:
            return [[(f" {text} ", role), *_in_a_row(aside, wide - len(text) - 2)]]
        rows = large_text(text, size, self.glyphs)
        top = (high - below - len(rows)) // 2
        figure: list[Line] = [[(" " + row.rjust(room), role)] for row in rows]
        block: Block = [*([] for _ in range(top)), *figure]
        if below:
            return [*block, _in_a_row(aside, wide)]
        lead = max(0, (high - len(aside)) // 2 if len(aside) < len(rows) else top)
        rows_of_aside = {lead + n: line for n, line in enumerate(aside)}
        return [
            [*fit(line, room + 1), ("  ", "text"), *rows_of_aside.get(n, [])]
            for n, line in enumerate([*block, *([] for _ in range(high - len(block)))])
        ]


def _in_a_row(parts: list[Line], wide: int) -> Line:
    """Unit and way in one row under the figures, or behind them."""
    line: Line = [(" ", "text")]
    for n, part in enumerate(parts):
        if n and width(line) + width(part) + 2 > wide:
            break
        line.extend([(", " if n else "", "faint"), *part])
    return fit(line, wide)


def travel_lines(view: ViewModel) -> list[Line]:
    """Where the sled is and which way it goes."""
    travel = next(
        (one for one in view.instruments.values() if one.role == "travel" and one.live),
        None,
    )
    if travel is None or not view.here:
        return []
    far = readout.travelled(travel, view.units)
    return [[(f"travel {far}", "faint")], [(travel.way(), "faint")]]


class LiveFigure(LargeFigure):
    """The number of the instrument that is looked at."""

    watches = frozenset({"number", "health", "ask"})

    def figure(self) -> tuple[str, Role]:
        shown = self.view.shown
        if shown is None or not self.view.here or not shown.live:
            return "---", "stale"
        fresh = shown.fresh(self.view.clock())
        return readout.number(shown, self.view.units)[0], "number" if fresh else "stale"

    def aside(self, room: int) -> list[Line]:
        view, shown = self.view, self.view.shown
        if shown is None or not view.here:
            return [[("no reading", "unsure")]]
        unit = readout.number(shown, view.units)[1]
        name = "" if shown.role == "cable" else f" {shown.name}"
        lines: list[Line] = [[(unit + name, "strong")]]
        if not shown.live:
            words, role = STATES.get(shown.state, shown.state), "unsure"
        elif not shown.fresh(view.clock()) and shown.at is not None:
            words, role = readout.age(view.clock() - shown.at), "unsure"
        else:
            words, role = shown.way(), "text"
        lines += wrap(words, room, role)  # type: ignore[arg-type]
        return [*lines, *travel_lines(view)][:4]


class DistanceFigure(LargeFigure):
    """The live move: the distance left, and which way."""

    watches = frozenset({"live", "number"})

    def figure(self) -> tuple[str, Role]:
        live = self.view.live
        if live is None or live.to_go is None or live.phase == "lean":
            shown = self.view.shown
            return (
                readout.number(shown, self.view.units)[0] if shown else "---"
            ), "number"
        far = readout.to_go(abs(live.to_go), live.uncertainty or 0.0, self.view.units)
        role: Role = "bad" if live.past or live.wrong else "number"
        return far[0], "good" if live.there else role

    def aside(self, room: int) -> list[Line]:
        live, units = self.view.live, self.view.units
        shown = self.view.shown
        if live is None or live.to_go is None or live.phase == "lean":
            name = f"{readout.number(shown, units)[1]} {shown.name}" if shown else ""
            return [[(name, "strong")]]
        unit = readout.to_go(abs(live.to_go), live.uncertainty or 0.0, units)[1]
        word = "too far" if live.past else "wrong way" if live.wrong else "to go"
        lines: list[Line] = [[(f"{unit} {word}", "strong")]]
        if live.there:
            return [*lines, [("there", "good")]]
        if live.way is not None:
            lines += wrap(f"{live.end} end {WAYS[live.way]}", room, "strong")
        return lines
