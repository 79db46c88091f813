"""Keys that come before their screen is there, or in the instant that opens it."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any
from weakref import WeakKeyDictionary

from textual import events
from textual.app import App
from textual.screen import Screen

# keys that answer: pressed before anything is seen, they would answer unread
ANSWER_KEYS = ("enter", "space")
POLL_S = 0.1  # s between two looks whether the screen that comes is still to come
QUIT_KEY = "ctrl+c"  # leaves whatever is shown


class EarlyKeys:
    """Holds keys back until the screen is there, and gives them to that screen."""

    def __init__(self, app: App[Any]) -> None:
        self._app = app
        self._there = asyncio.Event()  # the shown screen, with its focus
        self._coming: Screen[Any] | None = None
        self._first: list[events.Key] | None = []  # keys before there is any screen
        # the screen that was shown when a key came
        self._aims = WeakKeyDictionary[events.Key, list[Screen[Any]]]()

    def screen_comes(self, screen: Screen[Any]) -> None:
        if len(self._app.screen_stack) < 2:  # the empty one below all others
            return
        self._there = there = asyncio.Event()
        self._coming = screen
        screen.call_later(there.set)  # behind its mounting and its resuming
        waiting, self._first = self._first, None
        for event in waiting or ():
            self._app.post_message(event)

    async def _screen_is_there(self) -> None:
        """One that is closed before it was there never says so: as the console is
        left, nobody may wait for it."""
        there, coming = self._there, self._coming
        while not there.is_set() and coming in self._app.screen_stack:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(there.wait(), POLL_S)

    async def aim(self, event: events.Event) -> events.Event | None:
        """The event; a new one for a key that went to a screen which is shown no
        longer; None for one that waits for the first screen, or answers before it."""
        if self._first is not None:
            if not isinstance(event, events.Key):
                return None
            if event.key == QUIT_KEY:
                return event
            if event.key not in ANSWER_KEYS:
                self._first.append(events.Key(event.key, event.character))
            return None
        await self._screen_is_there()
        shown = self._app.screen_stack[-1:]
        if not isinstance(event, events.Key):
            return event
        if not shown:  # the console is being left
            return None
        if self._aims.setdefault(event, shown) == shown:
            return event
        again = events.Key(event.key, event.character)
        self._aims[again] = shown
        return again
