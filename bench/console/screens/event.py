"""What happened to the sled: its charts begin anew from there, an alarm is answered."""

from __future__ import annotations

from typing import get_args

from bench.console.screens.rows import Row, RowsScreen
from bench.protocol import NoteEvent
from bench.render.upkeep import HAPPENED, GearEvent


class EventScreen(RowsScreen):
    page = "event"

    def heading(self) -> str:
        return f"What happened to {self.view.the_jig or 'the sled'}?"

    def rows(self) -> list[Row]:
        jig = self.view.the_jig
        if jig is None:
            return []
        return [
            Row(HAPPENED[what][:1].upper() + HAPPENED[what][1:] + ".", self._note(what))
            for what in get_args(GearEvent)
        ]

    def _note(self, what: GearEvent):  # type: ignore[no-untyped-def]
        def take() -> None:
            jig = self.view.the_jig
            if jig is not None and self.requests.send(NoteEvent(jig, what)):
                self.view.due = None
                self.host.go_home()

        return take
