"""The results of this sled, newest first."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget
from textual.widgets import DataTable, Static

from bench.console.screens.base import Page
from bench.console.screens.reading import NotesScreen, PastResultScreen
from bench.console.widgets.about import About, about_finding
from bench.console.widgets.act_bar import Act
from bench.console.widgets.result import past_cells
from bench.protocol import Finding
from bench.render.screen import told

NARROW = 60  # columns under which only day, verdict and check have room
BECAME = {"made": "moved", "verified": "moved, proved"}


class LogScreen(Page):
    page = "past"
    AUTO_FOCUS = "DataTable"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus,j", "further", "further", key_display="+"),
        Binding("n,5", "notes", "notes", key_display="5"),
    ]

    def body(self) -> Iterable[Widget]:
        yield Static(id="title", markup=False)
        table: DataTable[str] = DataTable(
            cursor_type="row", zebra_stripes=False, id="results"
        )
        yield Container(table, About(), id="list")

    def acts(self) -> list[Act]:
        return [Act("Enter", "look at it", "look"), Act(".", "back", "leave")]

    def on_mount(self) -> None:
        super().on_mount()
        self._shown: list[Finding] = []

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.past()

    def on_resize(self) -> None:
        self._shown = []
        super().on_resize()

    def view_changed(self, changed: frozenset[str]) -> None:
        if changed & {"past", "result", "gear", "all"}:
            self._fill()

    def _fill(self) -> None:
        findings = self.view.past_findings
        if findings == self._shown:
            return
        self._shown = list(findings)
        self.query_one("#title", Static).update(self._heading())
        table = self.query_one(DataTable)
        wide = self.app.size.width >= NARROW
        table.clear(columns=True)
        table.add_columns("day", "verdict", "check", *(["found", "move"] * wide))
        for finding in findings:
            table.add_row(*self._row(finding, wide))

    def _heading(self) -> str:
        sled, board = self.view.the_jig or "all sleds", self.view.widest_board()
        code = "results-of" if board is None else "results-across"
        return told(code, self.view.units, sled=sled, board=board)

    def _row(self, finding: Finding, wide: bool) -> list[str]:
        day, verdict, check, much = past_cells(self.host, finding)
        if not wide:
            return [day[5:], verdict, check]
        became = BECAME.get(self.view.moves.get(finding.id, ""), "")
        return [day, verdict, check, much, became]

    # ---- keys ------------------------------------------------------------------------

    @on(DataTable.RowHighlighted)
    def _highlighted(self, event: DataTable.RowHighlighted) -> None:
        if event.cursor_row < len(self._shown):
            finding = self._shown[event.cursor_row]
            self.query_one(About).tell(about_finding(finding))

    @on(DataTable.RowSelected)
    def _selected(self, event: DataTable.RowSelected) -> None:
        if event.cursor_row < len(self._shown):
            self.app.push_screen(PastResultScreen(self._shown[event.cursor_row]))

    def action_look(self) -> None:
        self.query_one(DataTable).action_select_cursor()

    def action_further(self) -> None:
        self.query_one(DataTable).action_cursor_down()

    def action_notes(self) -> None:
        self.app.push_screen(NotesScreen())
