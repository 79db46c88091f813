"""Pedal, lamp and buzzer joined to the daemon: what is asked is shown, what is pressed is passed on.

Never the only signal: all of it is also told to the clients. May import: hw.panel, bench.wire.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import msgspec

from bench.settings import Panel as PanelSettings


class PanelLink:
    """Works, silently, without a panel too."""

    def __init__(
        self, settings: PanelSettings | None, on_press: Callable[[], None], on_long: Callable[[], None]
    ) -> None:
        self._settings = settings
        self._on_press, self._on_long = on_press, on_long

    def start(self, loop: asyncio.AbstractEventLoop) -> None:
        del loop

    def stop(self) -> None:
        pass

    def show(self, message: msgspec.Struct) -> None:
        del message

    def tone(self, pitch: str) -> None:
        del pitch
