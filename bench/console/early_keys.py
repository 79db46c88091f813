"""Keys that come in the same instant as the one that opens their screen."""

from __future__ import annotations

import asyncio
from typing import Any
from weakref import WeakKeyDictionary

from textual import events
from textual.app import App
from textual.screen import Screen


class EarlyKeys:
    """Holds keys back until the screen is there, and gives them to that screen."""

    def __init__(self, app: App[Any]) -> None:
        self._app = app
        self._there = asyncio.Event()  # the shown screen, with its focus
        self._there.set()
        # the screen that was shown when a key came
        self._aims = WeakKeyDictionary[events.Key, list[Screen[Any]]]()

    def screen_comes(self, screen: Screen[Any]) -> None:
        self._there = there = asyncio.Event()
        screen.call_later(there.set)  # behind its mounting and its resuming

    async def aim(self, event: events.Event) -> events.Event:
        """The event; or a new one for a key that went to a screen which is shown no
        longer."""
        await self._there.wait()
        shown = self._app.screen_stack[-1:]
        if not isinstance(event, events.Key):
            return event
        if self._aims.setdefault(event, shown) == shown:
            return event
        again = events.Key(event.key, event.character)
        self._aims[again] = shown
        return again
