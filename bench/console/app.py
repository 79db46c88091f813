"""The Textual application of the screen: it routes messages, keys and drawing.

What is known, what is drawn and what keys mean is plain code beside it.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket
import time
from collections.abc import Callable
from pathlib import Path

from textual import events
from textual.app import App, ComposeResult
from textual.theme import Theme

from bench.console import first_start, readout, themes
from bench.console.action import Action
from bench.console.cell_grid import CellGrid
from bench.console.controller import ScreenController
from bench.console.greeting import GREETING
from bench.console.layout import Frame, compose, content_only, number_only
from bench.console.message_folding import fold
from bench.console.navigation import Navigation
from bench.console.request_controller import PAST
from bench.console.result_view import WIDE
from bench.console.text import Block
from bench.console.themes import ConsoleTheme
from bench.console.view_model import ViewModel
from bench.protocol import AnyNotification, LogList
from bench.protocol.async_client import Connection, ReconnectingClient

DIGITS = 0.1  # s between two drawings of the number
EXTRA = 0.2  # s between two looks at what the added actions can do
LINE = 0.2  # s between two drawings of the line


class Console(App[None]):
    """`early`: a socket on which the first questions were already asked. `extra`:
    actions of whoever starts it."""

    TITLE = "sweepgauge"
    # the list of all keys is our own: it must show on the Pi's screen too
    ENABLE_COMMAND_PALETTE = False
    CSS = "Screen { layers: base; overflow: hidden; }"

    def __init__(
        self,
        path: Path,
        *,
        look: ConsoleTheme = themes.SHOP,
        early: socket.socket | None = None,
        extra: tuple[Action, ...] = (),
        tip: Callable[[ScreenController], str] = lambda controller: "",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.state = ViewModel(clock)
        self.navigation = Navigation(glyphs=look.glyphs)
        self.console_theme = look
        self.client = ReconnectingClient(
            path, self._said, self._connection, greeting=GREETING, early=early
        )
        self.controller = ScreenController(
            self.state,
            self.navigation,
            self.client.send,
            leave=self.exit,
            look=self._next_theme,
            extra=extra,
            tip=tip,
        )
        self.grid = CellGrid(look.styles())
        self.drawn = 0  # times anything was drawn, for whoever measures
        # monotonic s, when a true reading first stood on the grid
        self.first_reading: float | None = None
        self._frame: Frame | None = None
        self._dirty: set[str] = set()
        self._due: dict[str, float] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._ageing: asyncio.TimerHandle | None = None
        self._extra_words: list[str] = []
        self._listening: asyncio.Task[None] | None = None
        for one in themes.THEMES:
            self.register_theme(_theme(one))
        self.theme = look.name

    def compose(self) -> ComposeResult:
        yield self.grid

    # ---- life ------------------------------------------------------------------------

    async def on_mount(self) -> None:
        loop = asyncio.get_running_loop()
        with contextlib.suppress(ValueError, RuntimeError, NotImplementedError):
            for number in (signal.SIGTERM, signal.SIGHUP):
                loop.add_signal_handler(number, self.exit)
        self.grid.focus()
        self._listening = loop.create_task(self.client.run())
        if self.controller.extra:
            self.set_interval(EXTRA, self._extra_changed)

    def _extra_changed(self) -> None:
        """What the added actions can do changes without the daemon saying anything."""
        words = [
            action.word(self.controller)
            for action in self.controller.extra
            if action.can(self.controller)
        ] + [self.controller.tip(self.controller)]
        if words != self._extra_words:
            self._extra_words = words
            self._mark(frozenset({"keys"}))

    async def on_unmount(self) -> None:
        for timer in (self._timer, self._ageing):
            if timer is not None:
                timer.cancel()
        if self._listening is not None:
            self._listening.cancel()
            await asyncio.gather(self._listening, return_exceptions=True)
        self.client.close()

    # ---- what comes in ---------------------------------------------------------------

    def _said(self, message: AnyNotification) -> None:
        self._mark(fold(self.state, message))
        first_start.follow(self.controller, message)

    def _connection(self, now: Connection, words: str) -> None:
        self._mark(
            self.state.connected() if now == "here" else self.state.disconnected(words)
        )

    def on_resize(self) -> None:
        self._mark(frozenset({"all"}))

    def on_key(self, event: events.Key) -> None:
        if event.key == "ctrl+c":
            self.exit()
        elif self.controller.key(event.key, event.character):
            event.stop()
            event.prevent_default()
            self._draw_now()

    def on_click(self, event: events.Click) -> None:
        if self._frame is None:
            return
        for hit in self._frame.targets:
            if (
                hit.rows[0] <= event.y < hit.rows[1]
                and hit.columns[0] <= event.x < hit.columns[1]
            ):
                if hit.action is not None:
                    self.controller.do(hit.action)
                elif hit.row is not None:
                    self.controller.take(hit.row)
                self._draw_now()
                return

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        self.controller.wheel(1)
        self._draw_now()

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        self.controller.wheel(-1)
        self._draw_now()

    # ---- drawing ---------------------------------------------------------------------

    def _mark(self, changed: frozenset[str]) -> None:
        """Something is different: draw it when its turn has come."""
        if not changed:
            return
        self._dirty |= changed
        now = time.monotonic()
        if self._timer is None:
            wait = max(0.0, min(self._turn(name) for name in self._dirty) - now)
            self._timer = asyncio.get_running_loop().call_later(wait, self._draw)

    def _turn(self, name: str) -> float:
        return self._due.get(name if name in ("number", "line") else "all", 0.0)

    def _draw_now(self) -> None:
        """A key was pressed: nobody waits for a turn."""
        self._dirty.add("all")
        if self._timer is not None:
            self._timer.cancel()
        self._draw()

    def _draw(self) -> None:
        self._timer = None
        wide, high = self.size
        if not self._dirty or wide < 1 or not self.is_running:
            return
        now = time.monotonic()
        ready = {name for name in self._dirty if self._turn(name) <= now + 0.002}
        self._dirty -= ready
        if ready - {"number", "line"}:
            ready |= self._dirty & {"number", "line"}
            self._dirty -= {"number", "line"}
            self._whole(wide, high)
        else:
            if "number" in ready:
                self._part(number_only(self.controller, wide, high))
            if "line" in ready:
                self._part(content_only(self.controller, wide, high))
        if "number" in ready or ready - {"line"}:
            self._due["number"] = now + DIGITS
        if "line" in ready or ready - {"number"}:
            self._due["line"] = now + LINE
        if ready - {"number", "line"}:
            self._due["all"] = now + DIGITS / 2
        self._watch_age(now)
        left = self._dirty
        self._dirty = set()
        self._mark(frozenset(left))

    def _whole(self, wide: int, high: int) -> None:
        if (
            wide >= WIDE
            and self.state.past is None
            and self.state.status_known
            and self.state.here
        ):
            self.state.past = list(self.state.last)
            self.client.send(LogList(jig=self.state.the_jig, most=PAST))
        self._frame = compose(self.controller, wide, high)
        if self.grid.show(self._frame.lines):
            self.drawn += 1
        self._note_first()

    def _part(self, part: tuple[int, Block] | None) -> None:
        if part is not None and self.grid.show(part[1], part[0]):
            self.drawn += 1
        self._note_first()

    def _note_first(self) -> None:
        if self.first_reading is None:
            shown = self.state.shown
            if shown is not None and shown.live and self.state.here:
                self.first_reading = time.monotonic()

    def _watch_age(self, now: float) -> None:
        """A number that gets old says so, in steps; while it is fresh nothing ticks but
        one far alarm."""
        if self._ageing is not None:
            self._ageing.cancel()
            self._ageing = None
        waits = []
        for instrument in self.state.instruments.values():
            if instrument.at is not None and instrument.state == "open":
                waits.append(readout.next_age(self.state.clock() - instrument.at))
        if waits and self.state.here:
            self._ageing = asyncio.get_running_loop().call_later(
                max(0.2, min(waits) + 0.05), self._aged
            )
        del now

    def _aged(self) -> None:
        self._ageing = None
        stale = any(
            instrument.at is not None
            and instrument.state == "open"
            and not instrument.fresh(self.state.clock())
            for instrument in self.state.instruments.values()
        )
        if stale:
            self._mark(frozenset({"health", "number"}))
        else:
            self._watch_age(time.monotonic())

    def _next_theme(self) -> None:
        place = themes.THEMES.index(self.console_theme)
        self.console_theme = themes.THEMES[(place + 1) % len(themes.THEMES)]
        self.navigation.glyphs = self.console_theme.glyphs
        self.theme = self.console_theme.name
        self.grid.restyle(self.console_theme.styles())


def _theme(look: ConsoleTheme) -> Theme:
    """Textual's theme with the background and the foreground of ours."""
    background = "#000000" if look.background == "black" else look.background
    foreground = "#c0c0c0" if look.foreground == "white" else look.foreground
    return Theme(
        name=look.name,
        primary=foreground,
        foreground=foreground,
        background=background,
        surface=background,
        panel=background,
        dark=look.dark,
    )


def make_console(
    path: Path,
    *,
    look: str | None = None,
    early: socket.socket | None = None,
    extra: tuple[Action, ...] = (),
    tip: Callable[[ScreenController], str] = lambda controller: "",
) -> Console:
    """The application from plain arguments; tests, command and demo all use it.
    ValueError: no such look."""
    chosen = (
        themes.find_theme(look)
        if look is not None
        else themes.theme_for_terminal(
            os.environ.get("TERM", ""), bool(os.environ.get("NO_COLOR"))
        )
    )
    return Console(path, look=chosen, early=early, extra=extra, tip=tip)
