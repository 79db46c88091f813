"""The Textual application: it hears the daemon and puts up the screen that the state
calls for.

What is known is the view model's, what is asked is in `requests`, what is seen is in
`screens` and `widgets`.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket
import time
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.binding import ActiveBinding, Binding, BindingType
from textual.screen import Screen
from textual.theme import Theme

from bench.console import first_start, themes
from bench.console.drawings.glyphs import GlyphSet
from bench.console.early_keys import EarlyKeys
from bench.console.first_start import Guide
from bench.console.greeting import GREETING, LIVE_RATE_HZ, REST_RATE_HZ
from bench.console.host import LEAVING, Extension
from bench.console.instrument_view import FRESH_S
from bench.console.message_folding import fold
from bench.console.requests import Requests
from bench.console.screens import SCREENS, Place, make_page
from bench.console.screens.base import ConsoleScreen, WorkScreen
from bench.console.swipe import Swipe
from bench.console.view_model import Change, ViewModel
from bench.console.widgets.scroll_bars import use_whole_cells
from bench.protocol import Message, NotesSeen, Tone, Watch
from bench.protocol.async_client import Connection, ReconnectingClient

# s from one drawing of what changed so to the next
PACE_S: dict[Change, float] = {"number": 0.1, "pass": 0.2, "keys": 0.05, "state": 0.05}
SAME_TIME_S = 0.002  # changes that are due within it are drawn together
AGE_PERIOD_S = 0.5  # s between two drawings of how old a number is
EXTRA_KEYS_S = 0.2  # between two looks at what the extension's keys can do


class Console(App[None]):
    """`early`: a socket on which the first questions were already asked. `extension`:
    keys of whoever starts it."""

    TITLE = "sweepgauge"
    ALLOW_SELECT = False  # a finger that is drawn over words scrolls them
    CSS_PATH = "console.tcss"
    SCREENS: ClassVar[dict[str, Callable[[], Screen[Any]]]] = SCREENS
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash,question_mark,f1", "keys", "all keys", key_display="/"),
        Binding("asterisk,t", "next_theme", "look", key_display="*", show=False),
        Binding("minus,q,ctrl+q", "leave", "leave", key_display="-"),
        Binding("ctrl+c", "quit", "leave at once", show=False, priority=True),
    ]

    def __init__(
        self,
        path: Path,
        *,
        theme: Theme = themes.SHOP,
        early: socket.socket | None = None,
        extension: Extension | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        use_whole_cells()
        self.view = ViewModel(clock)
        self.guide = Guide()
        self.extension = extension
        self._extension_words: list[str] = []  # what its keys do, and its tip
        self.client = ReconnectingClient(
            path, self._message, self._connection, greeting=GREETING, early=early
        )
        self.requests = Requests(self.view, self.guide, self.client.send)
        self.keys_below: list[ActiveBinding] = []  # of the screen below the key list
        self.last_key = ""  # none by touch
        self.touched = False  # a finger is at work, or was last; no key since
        self.drawn = 0  # times anything was shown anew, for whoever measures
        self._place: Place | None = None  # none until it is known how things stand
        self._changes: set[Change] = set()  # not shown yet
        self._due = dict.fromkeys(PACE_S, 0.0)  # when each may be shown next
        self._timer: asyncio.TimerHandle | None = None
        self._ageing: asyncio.TimerHandle | None = None
        self.early_keys = EarlyKeys(self)
        self._swipe = Swipe(self)
        self._most = LIVE_RATE_HZ  # messages a second that were asked for last
        for one in themes.THEMES:
            self.register_theme(one)
        # set before anything is styled, so that nothing is styled twice
        self.set_reactive(App.theme, theme.name)
        self.stylesheet.set_variables(self.get_css_variables())

    @property
    def glyphs(self) -> GlyphSet:
        return themes.glyphs_of(self.theme)

    # ---- life ------------------------------------------------------------------------

    async def on_mount(self) -> None:
        self.touched = self.is_web
        loop = asyncio.get_running_loop()
        with contextlib.suppress(ValueError, RuntimeError, NotImplementedError):
            for number in (signal.SIGTERM, signal.SIGHUP):
                loop.add_signal_handler(number, self.exit)
        comes = self.early_keys.screen_comes
        self.screen_change_signal.subscribe(self, comes, immediate=True)
        self.run_worker(self.client.run())
        self._age()
        if self.extension is not None:
            self._bind_extension(self.extension)

    def _bind_extension(self, extension: Extension) -> None:
        for n, key in enumerate(extension.keys):
            self.bind(key.key, f"extra_key({n})", description=key.help)
        self.set_interval(EXTRA_KEYS_S, self._extension_changed)

    def on_unmount(self) -> None:
        for call in filter(None, (self._timer, self._ageing)):
            call.cancel()
        self.client.close()

    # ---- what comes in ---------------------------------------------------------------

    def _message(self, message: Message) -> None:
        change = fold(self.view, message)
        if change is not None:
            self.mark(change)
        self.requests.note_question()
        if isinstance(message, Tone):
            self._ring(message)
        goes_on = first_start.ends_stage(self.view, self.guide, message)
        if goes_on and self._at_rest_here() and not self.requests.learn_next():
            self.open("sled_form")

    def _ring(self, tone: Tone) -> None:
        """The bell, for want of a buzzer: a rhythm, since it has one pitch."""
        loop = asyncio.get_running_loop()
        for stroke in tone.strokes:
            loop.call_later(stroke, self.bell)

    def _at_rest_here(self) -> bool:
        """No page lies over the screen that the state calls for."""
        return isinstance(self._shown_screen(), WorkScreen)

    def _connection(self, now: Connection, words: str) -> None:
        """The screen stays as it was until the daemon has told how things stand."""
        if now == "here":
            self.view.connecting = True
        else:
            self.view.disconnected(words)
            self.mark()

    def _age(self) -> None:
        """A number says so as soon as it is old; nothing wakes the screen before."""
        oldest = self.view.oldest_reading if self.view.online else 0.0
        if oldest >= FRESH_S:
            self.mark("number")
        wait = FRESH_S - oldest if oldest < FRESH_S else AGE_PERIOD_S
        self._ageing = asyncio.get_running_loop().call_later(wait, self._age)

    def _extension_changed(self) -> None:
        """Show the screen anew where the extra keys do something else than before."""
        assert self.extension is not None
        words = [key.word() for key in self.extension.keys if key.can()] + [self.tip()]
        if words != self._extension_words:
            self._extension_words = words
            self.mark("keys")

    def tip(self) -> str:
        screen = self._shown_screen()
        if self.extension is None or screen is None:
            return ""
        return self.extension.tip(screen.page, self.view, self.requests)

    def _shown_screen(self) -> ConsoleScreen[Any] | None:
        """None where another one, or none yet, is shown."""
        top = self.screen_stack[-1] if self.screen_stack else None
        return top if isinstance(top, ConsoleScreen) and top.is_mounted else None

    # ---- showing ---------------------------------------------------------------------

    def mark(self, change: Change = "state") -> None:
        """Something is different: it is shown when its turn has come."""
        self._changes.add(change)
        if self._timer is None:
            soonest = min(self._due[one] for one in self._changes)
            wait = max(0.0, soonest - time.monotonic())
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(wait, self.call_next, self._show_changes)

    def _show_changes(self) -> None:
        self._timer = None
        if not self.is_running:
            return
        now = time.monotonic()
        ready = {one for one in self._changes if self._due[one] <= now + SAME_TIME_S}
        self._changes -= ready
        self._due |= {one: now + PACE_S[one] for one in ready}
        self._go_to_place()
        screen = self._shown_screen()
        if screen is not None:
            screen.show(ready)
        self.drawn += 1
        for change in [*self._changes]:
            self.mark(change)

    # ---- which screen ----------------------------------------------------------------

    def place(self) -> Place:
        """The screen that the daemon's state calls for."""
        view = self.view
        if view.live is not None:
            return "live"
        if view.prompt is not None:
            return "check"
        if first_start.stage_now(view, self.guide) is not None:
            return "first_start"
        return "home"

    def _go_to_place(self) -> None:
        """Change the lowest screen. A page that lies over it stays, but where a check
        or a live move begins: the sled is then at work, whoever began it."""
        place = self.place()
        if self._place is None:
            if self.view.status_known or self.view.away_since is not None:
                self._place = place
                self._watch()
                self.push_screen(place)
        elif place != self._place:
            if self._place == "home" and place in ("check", "live"):
                while len(self.screen_stack) > 2:
                    self.pop_screen()
            if len(self.screen_stack) > 2:
                return
            self._place = place
            self._watch()
            screen = self.get_screen(place)
            if isinstance(screen, ConsoleScreen) and screen.is_mounted:
                screen.show()  # as things stand now, before it is painted
            self.switch_screen(place)

    def _watch(self) -> None:
        most = REST_RATE_HZ if self._place == "home" else LIVE_RATE_HZ
        if most != self._most:
            self._most = most
            self.client.send(Watch(on=True, most=most))

    def go_home(self) -> None:
        """Take away all pages."""
        while len(self.screen_stack) > 2:
            self.pop_screen()
        self.mark()

    # ---- keys ------------------------------------------------------------------------

    def open(self, page: str) -> None:
        self.view.notices.over("done", bad=False)  # it was read where it was done
        self.push_screen(page if page in SCREENS else make_page(page))

    def action_keys(self) -> None:
        active = self.screen.active_bindings.values()
        keys = {b.binding.action: b for b in reversed(list(active)) if b.enabled}
        listed = [b for b in reversed(keys.values()) if _is_listed(b.binding)]
        # what cannot be taken back stands last, far from where the cursor is
        self.keys_below = sorted(listed, key=lambda b: b.binding.action == "quit")
        self.push_screen("keys")

    def action_next_theme(self) -> None:
        place = themes.THEME_NAMES.index(self.theme)
        self.theme = themes.THEME_NAMES[(place + 1) % len(themes.THEME_NAMES)]
        self.mark()

    def action_leave(self) -> None:
        extension = self.extension
        words = LEAVING if extension is None else extension.leaving
        page = make_page("confirm", words, self.last_key)
        self.push_screen(page, lambda sure: self.exit() if sure else None)

    def action_extra_key(self, index: int) -> None:
        assert self.extension is not None
        self.extension.keys[index].run()
        self.mark("keys")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "extra_key" and self.extension is not None:
            return self.extension.keys[int(str(parameters[0]))].can()
        return super().check_action(action, parameters)

    def seen(self) -> None:
        """Somebody is there, so what the daemon noted when it came up has been read; it
        is not said again."""
        view = self.view
        if view.notes_unseen and self.client.send(NotesSeen(len(view.notes))):
            view.notes_unseen = False

    async def on_event(self, event: events.Event) -> None:
        if isinstance(event, events.MouseEvent) and self._swipe.over(event):
            return  # a finger that was drawn over the screen chooses nothing
        if isinstance(event, events.Key | events.MouseDown):
            aimed = await self.early_keys.aim(event)
            if aimed is None:
                return
            event = aimed
            self.last_key = event.key if isinstance(event, events.Key) else ""
            self.touched = not self.last_key
            self.seen()
        await super().on_event(event)

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """The palette lists what the keys of the screen do."""
        for active in screen.active_bindings.values():
            binding = active.binding
            if active.enabled and _is_listed(binding):
                run = partial(self.run_action, binding.action, active.node)
                words = binding.tooltip or binding.description
                yield SystemCommand(words.capitalize(), f"key {binding.key}", run)


def _is_listed(binding: Binding) -> bool:
    """True for a key of the list of all keys; keys that move within a list are not in
    it."""
    moving = ("cursor_", "scroll_", "page_", "first", "last", "select")
    others = (*moving, "take(", "app.", "screen.", "command_palette")
    return bool(binding.description) and not binding.action.startswith(others)


def make_console(
    path: Path,
    *,
    theme: str | None = None,
    early: socket.socket | None = None,
    extension: Extension | None = None,
) -> Console:
    """The application from plain arguments; tests, command and demo all use it.
    ValueError: no such look."""
    term, colourless = os.environ.get("TERM", ""), bool(os.environ.get("NO_COLOR"))
    chosen = themes.find_theme(theme) if theme else None
    suits = chosen or themes.theme_for_terminal(term, colourless)
    return Console(path, theme=suits, early=early, extension=extension)
