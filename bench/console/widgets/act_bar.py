"""The one thing to do now, always at the same place, large enough for a thumb."""

from __future__ import annotations

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal

from bench.console.widgets.act_button import ActButton
from bench.console.widgets.viewer import Viewer

MOST = 4  # acts that stand there at once
WIDEST = 40  # columns of the one that leads


class Act(msgspec.Struct, frozen=True):
    """`key` as it is shown, the word, and the action of the screen. `leads`: it is what
    is asked for; else it is only possible."""

    key: str
    word: str
    action: str
    leads: bool = False


class ActBar(Viewer, Horizontal):
    """The screen says which acts there are; the first one is what Enter does."""

    watches = frozenset(
        {"ask", "live", "result", "past", "gear", "health", "sure", "keys", "notice"}
    )

    def compose(self) -> ComposeResult:
        for n in range(MOST):
            yield ActButton(id=f"act-{n}")

    def on_mount(self) -> None:
        self._acts: list[Act] | None = None
        self.show_view()

    def show_view(self) -> None:
        acts: list[Act] = self.screen.all_acts()[:MOST]  # type: ignore[attr-defined]
        if acts == self._acts:
            return
        self._acts = acts
        self._fit()

    def on_resize(self) -> None:
        self._fit()

    def _fit(self) -> None:
        """Each as wide as its words; the one that leads takes the rest. What does not
        fit stands in the row of keys only."""
        acts, room = self._acts or [], self.app.size.width
        labels = [f"{act.key}  {act.word}" for act in acts]
        wide = [len(label) + 5 for label in labels]
        fits = [sum(wide[: n + 1]) <= room for n in range(len(acts))]
        spare = room - sum(w for w, fit in zip(wide, fits, strict=True) if fit)
        for n, button in enumerate(self.query(ActButton)):
            button.display = n < len(acts) and fits[n]
            if button.display:
                leads = acts[n].leads
                more = max(0, min(spare, WIDEST - wide[n])) if leads else 0
                button.say(labels[n])
                button.styles.width = wide[n] - 1 + more
                button.set_class(leads, "-leads")

    @on(ActButton.Touched)
    async def _touched(self, event: ActButton.Touched) -> None:
        event.stop()
        place = int(str(event.button.id).removeprefix("act-"))
        if self._acts is not None and place < len(self._acts):
            await self.app.run_action(self._acts[place].action, self.screen)
