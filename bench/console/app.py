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
from pathlib import Path
from typing import Any, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.binding import ActiveBinding, Binding, BindingType
from textual.screen import Screen
from textual.theme import Theme

from bench.console import first_start, themes
from bench.console.early_keys import EarlyKeys
from bench.console.first_start import Guide
from bench.console.glyphs import GlyphSet
from bench.console.greeting import AT_REST, GREETING, MOST_READINGS
from bench.console.host import ALL, Guest
from bench.console.instrument_view import FRESH
from bench.console.message_folding import fold
from bench.console.requests import Requests
from bench.console.screens import SCREENS, Place, make_page
from bench.console.screens.base import ConsoleScreen, WorkScreen
from bench.console.swipe import Swipe
from bench.console.view_model import ViewModel
from bench.console.widgets.scroll_bars import use_whole_cells
from bench.protocol import Message, NotesSeen, Tone, Watch
from bench.protocol.async_client import Connection, ReconnectingClient

# s between two drawings of what changes so
PACE = {"number": 0.1, "line": 0.2}
PACE_OF_THE_REST = 0.05
AGEING = 0.5  # s between two drawings of how old a number is
GUEST = 0.2  # s between two looks at what the guest's keys can do


class Console(App[None]):
    """`early`: a socket on which the first questions were already asked. `guest`: keys
    of whoever starts it."""

    TITLE = "sweepgauge"
    ALLOW_SELECT = False  # a finger that is drawn over words scrolls them
    CSS_PATH = "console.tcss"
    SCREENS: ClassVar[dict[str, Callable[[], Screen[Any]]]] = SCREENS
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash,question_mark,f1", "keys", "all keys", key_display="/"),
        Binding("asterisk,t", "look", "look", key_display="*", show=False),
        Binding("minus,q,ctrl+q", "leave", "leave", key_display="-"),
        Binding("ctrl+c", "quit", "leave at once", show=False, priority=True),
    ]

    def __init__(
        self,
        path: Path,
        *,
        look: Theme = themes.SHOP,
        early: socket.socket | None = None,
        guest: Guest | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        use_whole_cells()
        self.view = ViewModel(clock)
        self.guide = Guide()
        self.guest = guest
        self.client = ReconnectingClient(
            path, self._heard, self._connection, greeting=GREETING, early=early
        )
        self.requests = Requests(self.view, self.guide, self.client.send)
        self.keys_below: list[ActiveBinding] = []  # of the screen below the key list
        self.last_key = ""  # none by touch
        self.touched = False  # a finger is at work, or was last; no key since
        self.drawn = 0  # times anything was shown anew, for whoever measures
        self._place: Place | None = None  # none until it is known how things stand
        self._dirty: set[str] = set()
        self._due: dict[str, float] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._ageing: asyncio.TimerHandle | None = None
        self._listening: asyncio.Task[None] | None = None
        self.early_keys = EarlyKeys(self)
        self._swipe = Swipe(self)
        self._most = MOST_READINGS  # messages a second that were asked for last
        for theme in themes.THEMES:
            self.register_theme(theme)
        # set before anything is styled, so that nothing is styled twice
        self.set_reactive(App.theme, look.name)
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
        self._listening = loop.create_task(self.client.run())
        self._age()
        if self.guest is not None:
            self._bind_guest(self.guest)

    def _bind_guest(self, guest: Guest) -> None:
        for n, key in enumerate(guest.keys):
            self.bind(key.key, f"guest({n})", description=key.help)
        self.set_interval(GUEST, self._guest_changed)

    async def on_unmount(self) -> None:
        for call in filter(None, (self._timer, self._ageing)):
            call.cancel()
        if self._listening is not None:
            self._listening.cancel()
            await asyncio.gather(self._listening, return_exceptions=True)
        self.client.close()

    # ---- what comes in ---------------------------------------------------------------

    def _heard(self, message: Message) -> None:
        self.mark(fold(self.view, message))
        self.requests.note_question()
        if isinstance(message, Tone):
            self._ring(message)
        goes_on = first_start.goes_on(self.view, self.guide, message)
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
        here = now == "here"
        self.mark(self.view.connected() if here else self.view.disconnected(words))

    def _age(self) -> None:
        """A number says so as soon as it is old; nothing wakes the screen before."""
        oldest = self.view.oldest_reading if self.view.here else 0.0
        if oldest >= FRESH:
            self.mark(frozenset({"health", "number"}))
        wait = FRESH - oldest if oldest < FRESH else AGEING
        self._ageing = asyncio.get_running_loop().call_later(wait, self._age)

    def _guest_changed(self) -> None:
        """What the guest's keys can do changes without the daemon saying anything."""
        assert self.guest is not None
        told = [key.word() for key in self.guest.keys if key.can()] + [self.tip()]
        if told != getattr(self, "_guest_told", None):
            self._guest_told = told
            self.mark(frozenset({"keys"}))

    def tip(self) -> str:
        screen = self._shown_screen()
        if self.guest is None or screen is None:
            return ""
        return self.guest.tip(screen.page, self.view, self.requests)

    def _shown_screen(self) -> ConsoleScreen[Any] | None:
        """None where another one, or none yet, is shown."""
        top = self.screen_stack[-1] if self.screen_stack else None
        return top if isinstance(top, ConsoleScreen) and top.is_mounted else None

    # ---- showing ---------------------------------------------------------------------

    def mark(self, changed: frozenset[str]) -> None:
        """Something is different: it is shown when its turn has come."""
        if not changed:
            return
        self._dirty |= changed
        if self._timer is None:
            soonest = min(self._due.get(name, 0.0) for name in self._dirty)
            wait = max(0.0, soonest - time.monotonic())
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(wait, self.call_next, self._show_changes)

    def _show_changes(self) -> None:
        self._timer = None
        if not self.is_running:
            return
        now = time.monotonic()
        soon = now + 0.002
        ready = {name for name in self._dirty if self._due.get(name, 0.0) <= soon}
        self._dirty -= ready
        for name in ready:
            self._due[name] = now + PACE.get(name, PACE_OF_THE_REST)
        self._go_to_place()
        screen = self._shown_screen()
        if screen is not None:
            screen.show(frozenset(ready))
        self.drawn += 1
        left, self._dirty = self._dirty, set()
        self.mark(frozenset(left))

    # ---- which screen ----------------------------------------------------------------

    def place(self) -> Place:
        """The screen that the daemon's state calls for."""
        view = self.view
        if view.live is not None:
            return "live"
        if view.ask is not None:
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
                screen.show(ALL)  # as things stand now, before it is painted
            self.switch_screen(place)

    def _watch(self) -> None:
        most = AT_REST if self._place == "home" else MOST_READINGS
        if most != self._most:
            self._most = most
            self.client.send(Watch(on=True, most=most))

    def go_home(self) -> None:
        """Take away all pages."""
        while len(self.screen_stack) > 2:
            self.pop_screen()
        self.mark(frozenset({"ask", "notice"}))

    # ---- keys ------------------------------------------------------------------------

    def open(self, page: str) -> None:
        self.view.notices.over("done", bad=False)  # it was read where it was done
        self.push_screen(page if page in SCREENS else make_page(page))

    def action_keys(self) -> None:
        active = self.screen.active_bindings.values()
        keys = {b.binding.action: b for b in reversed(list(active)) if b.enabled}
        told = [b for b in reversed(keys.values()) if _told(b.binding)]
        # what cannot be taken back stands last, far from where the cursor is
        self.keys_below = sorted(told, key=lambda b: b.binding.action == "quit")
        self.push_screen("keys")

    def action_look(self) -> None:
        place = themes.NAMES.index(self.theme)
        self.theme = themes.NAMES[(place + 1) % len(themes.NAMES)]
        self.mark(ALL)

    def action_leave(self) -> None:
        words = "Leave the screen? A check in progress goes on in the daemon."
        page = make_page("confirm", words, self.last_key)
        self.push_screen(page, lambda sure: self.exit() if sure else None)

    def action_guest(self, index: int) -> None:
        assert self.guest is not None
        self.guest.keys[index].run()
        self.mark(frozenset({"keys"}))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "guest" and self.guest is not None:
            return self.guest.keys[int(str(parameters[0]))].can()
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
            if active.enabled and _told(binding):

                async def run(action: str = binding.action, node=active.node) -> None:  # type: ignore[no-untyped-def]
                    await self.run_action(action, node)

                words = binding.tooltip or binding.description
                yield SystemCommand(words.capitalize(), f"key {binding.key}", run)


def _told(binding: Binding) -> bool:
    """Whether the key stands in the list of all keys; those that move within a list do
    not."""
    others = ("take(", "app.", "screen.", "first_act", "command_palette")
    return bool(binding.description) and not binding.action.startswith(others)


def make_console(
    path: Path,
    *,
    look: str | None = None,
    early: socket.socket | None = None,
    guest: Guest | None = None,
) -> Console:
    """The application from plain arguments; tests, command and demo all use it.
    ValueError: no such look."""
    term, colourless = os.environ.get("TERM", ""), bool(os.environ.get("NO_COLOR"))
    chosen = themes.find_theme(look) if look else None
    suits = chosen or themes.theme_for_terminal(term, colourless)
    return Console(path, look=suits, early=early, guest=guest)
