"""The results of this sled, newest first."""

from __future__ import annotations

from bench.console.contents.details import finding_detail
from bench.console.contents.result import past_cells
from bench.console.screens.document_pages import PastResultScreen
from bench.console.screens.list_page import ListPage, Row
from bench.protocol import Finding
from bench.render.screen import screen_text

NARROW_TABLE = 60  # columns under which only day, verdict and check have room
MOVE_OUTCOMES = {"made": "moved", "verified": "moved, proved"}


class LogScreen(ListPage):
    page = "past"

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.past()

    def heading(self) -> str:
        sled, board = self.view.current_jig or "all sleds", self.view.widest_board()
        code = "results-of" if board is None else "results-across"
        return screen_text(code, self.view.units, sled=sled, board=board)

    def rows(self) -> list[Row]:
        findings = self.view.past_findings
        table = [self._cells(finding) for finding in findings]
        wide = [max(map(len, column)) for column in zip(*table, strict=True)]
        lines = (map(str.ljust, cells, wide) for cells in table)
        return [
            Row(
                "  ".join(line).rstrip(),
                self.opens(PastResultScreen, finding),
                detail=finding_detail(finding),
            )
            for line, finding in zip(lines, findings, strict=True)
        ]

    def _cells(self, finding: Finding) -> list[str]:
        day, *cells, much = past_cells(self, finding)
        if self.app.size.width < NARROW_TABLE:
            return [day[5:], *cells]
        became = MOVE_OUTCOMES.get(self.view.moves.get(finding.id, ""), "")
        return [day, *cells, much, became]
