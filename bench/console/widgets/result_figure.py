"""The figure of a result that matters, large; or CLOSES, where a rip fence does."""

from __future__ import annotations

from bench.console import readout
from bench.console.text import Line, Role, wrap
from bench.console.widgets.large_figure import LiveFigure
from bench.protocol import Finding
from bench.render import result


class ResultFigure(LiveFigure):
    """At rest: what was found last; before anything was found, the live number."""

    watches = frozenset({"number", "health", "result", "past", "gear"})

    def finding(self) -> Finding | None:
        found = self.view.finding if self.view.here else None
        return found if found is not None and found.quantities else None

    def figure(self) -> tuple[str, Role]:
        finding = self.finding()
        if finding is None:
            return super().figure()
        if result.surely_closes(finding):
            return "CLOSES", "bad"
        return self._told(finding)[0], readout.verdict_role(finding.verdict)

    def _told(self, finding: Finding) -> tuple[str, str, str]:
        """Figures, unit, and over which length."""
        q, board = result.judged(finding), self.view.board(finding)
        return result.large_figure(q, self.view.units, board)

    def aside(self, room: int) -> list[Line]:
        finding = self.finding()
        if finding is None:
            return super().aside(room)
        if result.surely_closes(finding):
            return [[("at the rear", "bad")], [("DANGER: open it", "bad")]]
        q, (_, unit, over) = result.judged(finding), self._told(finding)
        lines: list[Line] = [[(unit, "strong")], *wrap(over, room, "text")]
        lines += wrap(q.way or "", room, "text")
        return [line for line in lines if line and line[0][0]][:5]


class PastFigure(ResultFigure):
    """The figure of one earlier result."""

    def __init__(self, finding: Finding) -> None:
        super().__init__()
        self._finding = finding

    def finding(self) -> Finding | None:
        return self._finding
