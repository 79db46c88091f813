"""Which check? And what is wrong: from what is seen to the checks that tell."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Any

from textual.widget import Widget
from textual.widgets import Static

from bench.console.screens.check_form import CheckForm
from bench.console.screens.rows import Row, RowsScreen
from bench.protocol import CheckKind
from bench.render.result import name, upper_first


class ChecksScreen(RowsScreen):
    """Those that cannot be taken now say why."""

    page = "checks"
    title_words = "Which check?"

    def rows(self) -> list[Row]:
        kinds = [self._row(kind) for kind in self.view.checks or []]
        wrong = "What is wrong? Begin from what is seen."
        return [*kinds, Row(wrong, partial(self.host.open, "symptoms"))]

    def _row(self, kind: CheckKind) -> Row:
        more = name(kind.kind) if kind.can else not_now(kind)
        return Row(
            kind.question, self.opens(CheckForm, kind) if kind.can else None, more
        )


class SymptomsScreen(RowsScreen):
    """What is seen at the sled or on the part."""

    page = "symptoms"
    title_words = "What is wrong?"

    def rows(self) -> list[Row]:
        # loaded when it is looked at: the start must stay quick
        from bench.render.symptoms import symptoms

        return [
            Row(_seen(one), self.opens(SymptomScreen, one), leads=bool(one["danger"]))
            for one in symptoms()
        ]


class SymptomScreen(RowsScreen):
    """One symptom: the danger or the plain act first, then the checks in order."""

    page = "symptom"

    def __init__(self, symptom: dict[str, Any]) -> None:
        super().__init__()
        self._symptom = symptom

    def heading(self) -> str:
        return _seen(self._symptom)

    def above(self) -> Iterable[Widget]:
        act, danger = self._symptom["act"], self._symptom["danger"]
        if act:
            words = f"DANGER: {act}" if danger else act
            yield Static(words, classes="-bad" if danger else "-act", markup=False)

    def rows(self) -> list[Row]:
        return [
            self._row(one["check"], one["shows"]) for one in self._symptom["checks"]
        ]

    def _row(self, check: str, shows: str) -> Row:
        kind = self.view.kind(check)
        words = f"{upper_first(name(check))}: shows {shows}."
        if kind is None or not kind.can:
            return Row(words, None, not_now(kind))
        return Row(words, self.opens(CheckForm, kind))


def _seen(symptom: dict[str, Any]) -> str:
    return f"{upper_first(symptom['seen'])}."


def not_now(kind: CheckKind | None) -> str:
    why = "the daemon does not know it" if kind is None else kind.why_not
    return f"Not now: {why}." if why else "Not now."
