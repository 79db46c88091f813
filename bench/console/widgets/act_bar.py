"""The one thing to do now, always at the same place, large enough for a thumb."""

from __future__ import annotations

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Button

from bench.console.widgets.viewer import Viewer

MOST = 4  # acts that stand there at once


class Act(msgspec.Struct, frozen=True):
    """`key` as it is shown, the word, and the action of the screen. `leads`: it is what
    is asked for; else it is only possible."""

    key: str
    word: str
    action: str
    leads: bool = False


class ActButton(Button, can_focus=False):
    """Three rows: a target for a thumb. Keys are the screen's own."""


class ActBar(Viewer, Horizontal):
    """The screen says which acts there are; the first one is what Enter does."""

    watches = frozenset(
        {"ask", "live", "result", "past", "gear", "health", "sure", "keys", "notice"}
    )

    def compose(self) -> ComposeResult:
        for n in range(MOST):
            yield ActButton("", id=f"act-{n}")

    def on_mount(self) -> None:
        self._acts: list[Act] | None = None
        self.show_view()

    def show_view(self) -> None:
        acts: list[Act] = self.screen.all_acts()[:MOST]  # type: ignore[attr-defined]
        if acts == self._acts:
            return
        self._acts = acts
        self.display = bool(acts)
        for n, button in enumerate(self.query(ActButton)):
            button.display = n < len(acts)
            if n < len(acts):
                button.label = f"{acts[n].key}  {acts[n].word}"
                button.set_class(acts[n].leads, "-leads")

    @on(Button.Pressed)
    async def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
        place = int(str(event.button.id).removeprefix("act-"))
        if self._acts is not None and place < len(self._acts):
            await self.app.run_action(self._acts[place].action, self.screen)
