"""The frame of all screens: the strip above, the acts and the keys below."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Mapping
from typing import ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import ActiveBinding, Binding, BindingType
from textual.containers import Vertical
from textual.screen import Screen
from textual.widget import Widget

from bench.console.contents.prompt import notices, tip
from bench.console.contents.strip import status_strip
from bench.console.host import LOW, NARROW, TALL, Hosted
from bench.console.view_model import Change
from bench.console.widgets.act_bar import Act, ActBar
from bench.console.widgets.drawing import Drawing
from bench.console.widgets.key_row import KeyRow
from bench.console.widgets.viewer import ReadOn, TextPanel, Viewer
from bench.protocol import Undo

T = TypeVar("T")
EXTRA_KEY = "extra_key"  # the action of a key of whoever started the console
EVERYTHING: tuple[Change, ...] = ("state",)
KEYS = "keys"  # the action that lists all keys


class ConsoleScreen(Hosted, Screen[T]):
    """A subclass gives its body, its acts and its keys."""

    HORIZONTAL_BREAKPOINTS: list[tuple[int, str]] | None = [  # noqa: RUF012
        (0, "-narrow"),
        (NARROW, "-normal"),
        (110, "-wide"),
    ]
    VERTICAL_BREAKPOINTS: list[tuple[int, str]] | None = [  # noqa: RUF012
        (0, "-low"),
        (LOW, "-high"),
        (TALL, "-tall"),
    ]
    AUTO_FOCUS: ClassVar[str | None] = ""
    page: ClassVar[str] = ""  # its name for whoever started the console
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space", "first_act", "do it", show=False),
    ]

    def compose(self) -> ComposeResult:
        self.choose_parts()  # before the first paint
        yield Drawing(status_strip, "number", classes="-row")
        yield Vertical(*self.body(), id="body")
        yield TextPanel(tip, "keys", id="tip")
        yield TextPanel(notices, id="notices")
        yield ActBar()
        yield KeyRow(compact=True, show_command_palette=False)

    def body(self) -> Iterable[Widget]:
        raise NotImplementedError

    def acts(self) -> list[Act]:
        """Enter does the first, where that is an act of the key Enter."""
        raise NotImplementedError

    def all_acts(self) -> list[Act]:
        """Those of the extension stand behind Enter's: they are what hands would do."""
        acts, extension = self.acts(), self.host.extension
        if extension is None or not isinstance(self, WorkScreen):
            return acts
        keys = [
            Act(key.key.upper(), key.word(), f"app.{EXTRA_KEY}({n})")
            for n, key in enumerate(extension.keys)
            if key.leads and key.can()
        ]
        first = sum(act.key == "Enter" for act in acts[:1])
        return [*acts[:first], *keys, *acts[first:]]

    # ---- what it shows ---------------------------------------------------------------

    def on_mount(self) -> None:
        self._bindings_shown: object = None
        for box in self._boxes():
            for what in ("virtual_size", "scroll_y"):
                self.watch(box, what, self._scrolled, init=False)

    def _boxes(self) -> Iterable[Widget]:
        """The boxes that scroll where their contents do not fit."""
        return self.query(ReadOn)

    def _scrolled(self) -> None:
        self.host.mark("keys")

    def on_screen_resume(self) -> None:
        """It shows at once how things stand, not what it was left with."""
        self.set_class(self.host.touched, "-touch")
        self.show()

    def on_resize(self) -> None:
        self.host.mark()

    def show(self, changes: Collection[Change] = EVERYTHING) -> None:
        """Show anew what has changed; a screen that is covered is told to when it comes
        back."""
        whole = "state" in changes
        for viewer in self.query(Viewer):
            if whole or viewer.quick in changes:
                viewer.show_view()
        if not whole and "keys" not in changes:
            return
        self.choose_parts()
        if whole:
            self.state_changed()
        self.fit()
        shown = [(b.binding, b.enabled) for b in self.active_bindings.values()]
        if shown != self._bindings_shown:
            self._bindings_shown = shown
            self.refresh_bindings()

    def choose_parts(self) -> None:
        """Show and hide parts by classes of the style sheet."""

    def state_changed(self) -> None:
        """A hook for subclasses, called after the widgets were shown anew."""

    def fit(self) -> None:
        """A hook for subclasses, called as well when a box has other room."""

    # ---- keys ------------------------------------------------------------------------

    def can(self, action: str) -> bool:
        """True where that action would do anything now."""
        return True

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self.can(action)

    @property
    def active_bindings(self) -> Mapping[str, ActiveBinding]:  # type: ignore[override]
        """Those of the extension say what they do now; those that do not fit into the
        row of keys stand in the list of all keys only."""
        out: dict[str, ActiveBinding] = {}
        keys = (
            {k.key: k for k in self.host.extension.keys} if self.host.extension else {}
        )
        bound = super().active_bindings
        spare = max(
            (_room(b.binding) for b in bound.values() if b.binding.action == KEYS),
            default=0,
        )
        room, fits = self.app.size.width - spare, dict[str, bool]()
        for key, active in bound.items():
            binding = active.binding
            if key in keys and binding.action.startswith(EXTRA_KEY):
                binding = dataclasses.replace(binding, description=keys[key].word())
            if binding.show and binding.action != KEYS:
                if binding.action not in fits:
                    fits[binding.action] = _room(binding) <= room
                    room -= _room(binding) * fits[binding.action]
                binding = dataclasses.replace(binding, show=fits[binding.action])
            out[key] = active._replace(binding=binding)
        return out

    def action_open(self, page: str) -> None:
        self.host.open(page)

    def action_read_on(self) -> None:
        """Scroll to what does not fit; from its end back to its beginning."""
        for box in self._boxes():
            if box.scroll_offset.y < box.max_scroll_y:
                box.scroll_page_down(animate=False)
            else:
                box.scroll_home(animate=False)

    async def action_first_act(self) -> None:
        """Do the first act, unless that is another key's because Enter is not asked
        for."""
        for act in self.acts()[:1]:
            if act.key == "Enter":
                await self.app.run_action(act.action, self)


def _room(binding: Binding) -> int:
    """Columns of a key and its word in the row of keys."""
    return len(binding.key_display or binding.key) + len(binding.description) + 2


class WorkScreen(ConsoleScreen[None]):
    """A screen that the daemon's state calls for; see `Console.place`."""

    def action_press(self) -> None:
        self.requests.press()
        self.host.mark()

    def action_undo(self) -> None:
        self.requests.send(Undo())


class Page(ConsoleScreen[None]):
    """A page that is put up over that screen, and left again."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("full_stop,escape,0,left", "leave", "back", key_display="."),
    ]

    def action_leave(self) -> None:
        self.dismiss()
