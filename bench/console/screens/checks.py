"""The list of checks, and the list of symptoms that lead to them."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Any

from textual.widget import Widget

from bench.console.contents.details import check_detail
from bench.console.screens.check_form import CheckForm
from bench.console.screens.list_page import ListPage, Row
from bench.console.widgets.detail_pane import Detail
from bench.console.widgets.viewer import Sentences, TextPanel, Viewer
from bench.protocol import CheckKind
from bench.render.names import spaced, upper_first
from bench.render.screen import screen_text


class ChecksScreen(ListPage):
    """Those that cannot be taken now say why."""

    page = "checks"
    title_words = "Which check?"

    def rows(self) -> list[Row]:
        kinds = [self._row(kind) for kind in self.view.checks or []]
        wrong = "What is wrong? Begin from what is seen."
        return [*kinds, Row(wrong, partial(self.host.open, "symptoms"))]

    def _row(self, kind: CheckKind) -> Row:
        return check_row(self, kind.question, kind.kind, spaced(kind.kind))


class SymptomsScreen(ListPage):
    """The symptoms seen at the sled or on the part."""

    page = "symptoms"
    title_words = "What is wrong?"

    def rows(self) -> list[Row]:
        # loaded when it is looked at: the start must stay quick
        from bench.render.symptoms import symptoms

        return [
            Row(
                _seen(one),
                self.opens(SymptomScreen, one),
                leads=bool(one["danger"]),
                detail=Detail(partial(_tells, one)),
            )
            for one in symptoms()
        ]


class SymptomScreen(ListPage):
    """One symptom: the danger or the plain act first, then the checks in order."""

    page = "symptom"

    def __init__(self, symptom: dict[str, Any]) -> None:
        super().__init__()
        self._symptom = symptom

    def heading(self) -> str:
        return _seen(self._symptom)

    def above(self) -> Iterable[Widget]:
        yield TextPanel(partial(_danger, self._symptom))

    def rows(self) -> list[Row]:
        return [self._row(one) for one in self._symptom["checks"]]

    def _row(self, one: dict[str, str]) -> Row:
        return check_row(self, _shows(one), one["check"])


def _danger(symptom: dict[str, Any], v: Viewer) -> Sentences:
    """The act that comes before any check."""
    danger = symptom["danger"]
    yield "DANGER: " * bool(danger) + (symptom["act"] or ""), "bad" if danger else "act"


def _tells(symptom: dict[str, Any], v: Viewer) -> Sentences:
    """The danger or the plain act, and what each check would show of it."""
    yield from _danger(symptom, v)
    for one in symptom["checks"]:
        yield _shows(one), "text"


def _shows(one: dict[str, str]) -> str:
    check = upper_first(spaced(one["check"]))
    return screen_text("shows", check=check, shows=one["shows"])


def _seen(symptom: dict[str, Any]) -> str:
    return f"{upper_first(symptom['seen'])}."


def check_row(page: ListPage, words: str, check: str, more: str = "") -> Row:
    """The row that opens the check's form; one that cannot be taken now says why."""
    kind, detail = page.view.kind(check), check_detail(page.view, check)
    if kind is not None and kind.can:
        return Row(words, page.opens(CheckForm, kind), more, detail=detail)
    why = "the daemon does not know it" if kind is None else kind.why_not
    no = screen_text("not-now", why=why) if why else "Not now."
    return Row(words, None, no, detail=detail)
