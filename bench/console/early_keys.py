"""Keys that come before their screen is there, or in the instant that opens it."""

from __future__ import annotations

import asyncio
from typing import Any
from weakref import WeakKeyDictionary

from textual import events
from textual.app import App
from textual.screen import Screen

# keys that answer: pressed before anything is seen, they would answer unread
ANSWERS = ("enter", "space")
AT_ONCE = "ctrl+c"  # leaves whatever is shown


class EarlyKeys:
    """Holds keys back until the screen is there, and gives them to that screen."""

    def __init__(self, app: App[Any]) -> None:
        self._app = app
        self._there = asyncio.Event()  # the shown screen, with its focus
        self._first: list[events.Key] | None = []  # keys before there is any screen
        # the screen that was shown when a key came
        self._aims = WeakKeyDictionary[events.Key, list[Screen[Any]]]()

    def screen_comes(self, screen: Screen[Any]) -> None:
        if len(self._app.screen_stack) < 2:  # the empty one below all others
            return
        self._there = there = asyncio.Event()
        screen.call_later(there.set)  # behind its mounting and its resuming
        waiting, self._first = self._first, None
        for event in waiting or ():
            self._app.post_message(event)

    async def aim(self, event: events.Event) -> events.Event | None:
        """The event; a new one for a key that went to a screen which is shown no
        longer; None for one that waits for the first screen, or answers before it."""
        if self._first is not None:
            if not isinstance(event, events.Key):
                return None
            if event.key == AT_ONCE:
                return event
            if event.key not in ANSWERS:
                self._first.append(events.Key(event.key, event.character))
            return None
        await self._there.wait()
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
