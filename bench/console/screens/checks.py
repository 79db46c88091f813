"""Which check? Those that cannot be taken now say why."""

from __future__ import annotations

from bench.console.screens.check_form import CheckForm
from bench.console.screens.rows import Row, RowsScreen
from bench.protocol import CheckKind
from bench.render.result import name, upper_first


class ChecksScreen(RowsScreen):
    page = "checks"
    title_words = "Which check?"

    def rows(self) -> list[Row]:
        kinds = [self._row(kind) for kind in self.view.checks or []]
        wrong = "What is wrong? Begin from what is seen."
        return [*kinds, Row(wrong, lambda: self.host.open("symptoms"))]

    def _row(self, kind: CheckKind) -> Row:
        if kind.can:
            return Row(kind.question, lambda: self._choose(kind), name(kind.kind))
        why = upper_first(kind.why_not or "not now")
        return Row(kind.question, None, f"Not now: {why}.", faint=True)

    def _choose(self, kind: CheckKind) -> None:
        self.app.push_screen(CheckForm(kind))
