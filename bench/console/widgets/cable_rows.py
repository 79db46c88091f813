"""The cables that are listened to with their numbers; and what of the guide is done."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.text import Block, Line, Role, cut, justify, width
from bench.console.widgets.drawing import Drawing

STATES = {
    "listening": "is listened to",
    "silent": "silent",
    "unknown": "not understood",
    "busy": "in use",
    "denied": "no permission",
    "away": "away",
}


class CableRows(Drawing):
    """A row for each: name, number and unit, or why there is none."""

    watches = frozenset({"ask", "number", "health"})

    def draw(self, wide: int, high: int) -> Block:
        view = self.view
        if view.learn is not None and view.learn.what == "leaf":
            return []
        out: Block = []
        for instrument in view.ports.values():
            role: Role = "faint"
            words = STATES.get(instrument.state, instrument.state)
            right: Line = [(words + " ", "faint")]
            if instrument.live:
                role = "text"
                text, unit = readout.number(instrument, view.units)
                right = [(f"{text} {unit} ", "strong")]
            name = instrument.name
            name += f", {instrument.grows}" if instrument.grows else ""
            room = max(8, wide - 4 - width(right))
            shown = name if len(name) <= room else cut(instrument.name, room)
            out.append(justify([("   ", role), (shown, role)], right, wide))
        return out


class StageTicks(Drawing):
    """What is done and what lacks, in one row."""

    watches = frozenset({"ask", "gear", "health"})

    def draw(self, wide: int, high: int) -> Block:
        g, view, guide = self.glyphs, self.view, self.host.guide
        if not first_start.guided(view, guide):
            return []
        lead = " " if wide >= 56 else ""
        line: Line = [(f" {lead}", "text")]
        for stage in first_start.STAGES:
            is_done = first_start.done(view, stage)
            skipped = stage in guide.skipped and not is_done
            sign = g.good if is_done else g.dash if skipped else g.none
            role: Role = "good" if is_done else "faint"
            line += [(f"{lead}{sign} ", role), (f"{stage} ", role)]
        return [line] if width(line) <= wide + 1 else []
