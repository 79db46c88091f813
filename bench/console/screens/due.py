"""The checks that are due, when and why; and the events that are noted of a sled."""

from __future__ import annotations

from functools import partial
from typing import get_args

from bench.console.contents.details import check_detail, sled_detail
from bench.console.screens.check_form import CheckForm
from bench.console.screens.list_page import ListPage, Row
from bench.console.widgets.detail_pane import Detail
from bench.protocol import NoteEvent
from bench.render.names import upper_first
from bench.render.screen import screen_text
from bench.render.upkeep import EVENT_WORDS, GearEvent, due_lines

PAGE_LABELS = {
    "drift": "Last month against today: the charts",
    "cut": "How will the cut come out?",
    "shop": "All sleds of the shop",
    "event": "Something happened to the sled",
    "notes": "What was noted here",
}


class DueScreen(ListPage):
    page = "due"
    title_words = "What is due"

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.look_up("due")

    def rows(self) -> list[Row]:
        document = self.view.due
        rows = document["due"] if document is not None else []
        out = [self._due(row) for row in rows]
        nothing = [] if out or document is None else [Row("Nothing is due.")]
        pages = [
            Row(w, partial(self.host.open, page)) for page, w in PAGE_LABELS.items()
        ]
        return [*out, *nothing, *pages]

    def _due(self, row: dict[str, object]) -> Row:
        (line,) = due_lines({"due": [row], "left_out": []})
        kind, jig = self.view.kind(str(row["check"])), row["jig"]
        on = jig if isinstance(jig, str) else None
        detail = check_detail(self.view, str(row["check"]), on)
        if kind is None or not kind.can:
            return Row(line, detail=detail)

        def take() -> None:
            if on is not None:
                self.view.choose_jig(on)
            self.app.push_screen(CheckForm(kind, quick=bool(row["quick"])))

        return Row(line, take, leads=row["state"] == "now", detail=detail)


class EventScreen(ListPage):
    """The events of a sled: its charts begin anew from there, an alarm is answered."""

    page = "event"

    def heading(self) -> str:
        return screen_text("happened", sled=self.view.current_jig or "the sled")

    def detail(self) -> Detail:
        jig = self.view.find_jig()
        return Detail() if jig is None else sled_detail(jig)

    def rows(self) -> list[Row]:
        if self.view.current_jig is None:
            return []
        return [
            Row(f"{upper_first(EVENT_WORDS[what])}.", partial(self._note, what))
            for what in get_args(GearEvent)
        ]

    def _note(self, what: GearEvent) -> None:
        jig = self.view.current_jig
        if jig is not None and self.requests.send(NoteEvent(jig, what)):
            self.view.due_stale = True
            self.host.go_home()
