"""What is wrong? From what is seen at the sled or on the part to the checks that
tell."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from textual.widget import Widget
from textual.widgets import Static

from bench.console.screens.check_form import CheckForm
from bench.console.screens.rows import Row, RowsScreen
from bench.render.result import name, upper_first


class SymptomsScreen(RowsScreen):
    page = "symptoms"
    title_words = "What is wrong?"

    def rows(self) -> list[Row]:
        # loaded when it is looked at: the start must stay quick
        from bench.render.symptoms import symptoms

        return [self._row(one) for one in symptoms()]

    def _row(self, one: dict[str, Any]) -> Row:
        return Row(
            f"{upper_first(one['seen'])}.",
            lambda: self._go(SymptomScreen(one)),
            leads=bool(one["danger"]),
        )


class SymptomScreen(RowsScreen):
    """One symptom: the danger or the plain act first, then the checks in order."""

    page = "symptom"

    def __init__(self, symptom: dict[str, Any]) -> None:
        super().__init__()
        self._symptom = symptom

    def heading(self) -> str:
        return upper_first(self._symptom["seen"]) + "."

    def body(self) -> Iterable[Widget]:
        first, *rest = super().body()
        yield first
        if self._symptom["act"]:
            danger = self._symptom["danger"]
            words = (
                f"DANGER: {self._symptom['act']}" if danger else self._symptom["act"]
            )
            yield Static(words, classes="-bad" if danger else "-act", markup=False)
        yield from rest

    def rows(self) -> list[Row]:
        out = []
        for check in self._symptom["checks"]:
            kind = self.view.kind(check["check"])
            words = f"{upper_first(name(check['check']))}: shows {check['shows']}."
            if kind is None or not kind.can:
                why = kind.why_not if kind is not None else "not known here"
                out.append(Row(words, None, f"Not now: {why}.", faint=True))
            else:
                out.append(Row(words, lambda k=kind: self._go(CheckForm(k))))  # type: ignore[misc]
        return out
