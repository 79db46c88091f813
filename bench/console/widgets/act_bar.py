"""The one thing to do now, always at the same place, large enough for a thumb."""

from __future__ import annotations

from typing import Any

import msgspec
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Button

from bench.console.widgets.viewer import Viewer

MOST_ACTS = 4  # acts that stand there at once
LEADING_COLUMNS = 40  # columns of the one that leads


class ActButton(Button, can_focus=False, inherit_css=False):
    """Three rows, a target for a thumb. It is never focused: keys are the screen's own.
    The looks are all its own: Textual's for a button take 6 ms of the start to read."""

    def __init__(self, label: str = "", **more: Any) -> None:
        super().__init__(label, **more)
        self.active_effect_duration = 0  # s; the next tap counts at once


class Act(msgspec.Struct, frozen=True):
    """`key` as it is shown, the word, and the action of the screen. `leads`: it is what
    is asked for; else it is only possible. `apart`: it takes something back, and stands
    at the right end, where no second tap that was meant for another act meets it."""

    key: str
    word: str
    action: str
    leads: bool = False
    apart: bool = False

    @property
    def full_action(self) -> str:
        """The action with the namespace in which Textual looks for it."""
        return (
            self.action if self.action.startswith("app.") else f"screen.{self.action}"
        )


class ActBar(Viewer, Horizontal):
    """The screen says which acts there are."""

    def __init__(self) -> None:
        super().__init__("keys")
        self._acts: list[Act] | None = None

    def compose(self) -> ComposeResult:
        for n in range(MOST_ACTS):
            yield ActButton(id=f"act-{n}")

    def on_mount(self) -> None:
        self.show_view()

    def show_view(self) -> None:
        acts: list[Act] = self.screen.all_acts()[:MOST_ACTS]  # type: ignore[attr-defined]
        if acts != self._acts:
            self._acts = acts
            self._fit()

    def on_resize(self) -> None:
        self._fit()

    def _fit(self) -> None:
        """Each as wide as its words; the one that leads takes the rest, and what is
        left of it stands before what is apart. What does not fit stands in the row of
        keys only."""
        acts, room = self._acts or [], self.app.size.width
        labels = [f"{act.key}  {act.word}" for act in acts]
        wide = [len(label) + 5 for label in labels]
        fits = [sum(wide[: n + 1]) <= room for n in range(len(acts))]
        spare = room - sum(w for w, fit in zip(wide, fits, strict=True) if fit)
        for n, button in enumerate(self.query(ActButton)):
            button.display = n < len(acts) and fits[n]
            if button.display:
                leads, apart = acts[n].leads, acts[n].apart
                more = max(0, min(spare, LEADING_COLUMNS - wide[n])) if leads else 0
                spare -= more
                before = spare + bool(n) if apart else 0  # margins overlap
                button.label, button.action = labels[n], acts[n].full_action
                button.styles.width = wide[n] - 1 + more
                button.styles.margin = (0, 1, 0, before)
                button.set_class(leads, "-leads")
