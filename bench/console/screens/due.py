"""What is due, when and why; and what happened to the sled."""

from __future__ import annotations

from bench.console.screens.check_form import CheckForm
from bench.console.screens.rows import Row, RowsScreen
from bench.render.upkeep import due_lines


class DueScreen(RowsScreen):
    page = "due"
    title_words = "What is due"
    watches = frozenset({"due", "gear"})

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.ask_due()

    def rows(self) -> list[Row]:
        document = self.view.due
        rows = document["due"] if document is not None else []
        out = [self._due(row) for row in rows]
        nothing = [] if out or document is None else [Row("Nothing is due.")]
        return [
            *out,
            *nothing,
            Row("Last month against today: the charts", lambda: self._open("drift")),
            Row("How will the cut come out?", lambda: self._open("cut")),
            Row("All sleds of the shop", lambda: self._open("shop")),
            Row("Something happened to the sled", lambda: self._open("event")),
        ]

    def _due(self, row: dict[str, object]) -> Row:
        (line,) = due_lines({"due": [row], "left_out": []})
        kind = self.view.kind(str(row["check"]))
        if kind is None or not kind.can:
            return Row(line)
        jig = row["jig"]

        def take() -> None:
            if isinstance(jig, str):
                self.view.choose_jig(jig)
            self.app.push_screen(CheckForm(kind, quick=bool(row["quick"])))

        return Row(line, take, leads=row["state"] == "now")

    def _open(self, page: str) -> None:
        self.host.open(page)
