"""In a check: the live number; or what alone differs from the set-up before, where that
is all the person must look for."""

from __future__ import annotations

from bench.console import readout
from bench.console.text import Line, Role
from bench.console.widgets.large_figure import LiveFigure


class CheckFigure(LiveFigure):
    """The angle or the place to go to is larger than the number that is read there."""

    def _focus(self) -> tuple[str, str] | None:
        """Its figures and the word behind them; None where it is no figure."""
        ask = self.view.ask
        if ask is None or ask.phase not in ("place", "spot", "width"):
            return None
        figures, _, word = ask.focus_words.partition(" ")
        if not figures.replace(".", "").replace("-", "").isdigit():
            return None
        return figures, word

    def figure(self) -> tuple[str, Role]:
        focus = self._focus()
        return super().figure() if focus is None else (focus[0], "number")

    def aside(self, room: int) -> list[Line]:
        focus, ask, shown = self._focus(), self.view.ask, self.view.shown
        lines = super().aside(room)
        if focus is None:
            words = ask.focus_words if ask is not None else ""
            lead: list[Line] = [[(words, "act")]] if words else []
            return [*lead, *lines][:4]
        number = "---"
        if shown is not None and shown.live:
            number = " ".join(readout.number(shown, self.view.units))
        name = shown.name if shown is not None else ""
        return [[(focus[1], "act")], [(f"{number} {name}", "text")], *lines[1:2]]
