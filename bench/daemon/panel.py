"""Pedal, lamp and buzzer joined to the daemon: what is asked is shown, what is pressed is passed on.

Never the only signal: all of it is also told to the clients. May import: hw.panel, bench.settings, bench.wire.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Callable
from typing import Any

import msgspec

from bench.settings import Panel as PanelSettings
from bench.wire import Asking, Concluded, MarkTaken, NotConcluded, SweepSaid


class PanelLink:
    """Works, silently, without a panel too. The callbacks come on the event loop."""

    def __init__(
        self,
        settings: PanelSettings | None,
        on_press: Callable[[], None],
        on_long: Callable[[], None],
        make_factory: Callable[[], Any] | None = None,
    ) -> None:
        self._panel: Any = None
        if settings is not None and {settings.pedal, settings.lamp, settings.buzzer} != {None}:
            from hw.panel import Panel

            self._panel = Panel(
                pedal=settings.pedal,
                lamp=settings.lamp,
                buzzer=settings.buzzer,
                on_press=on_press,
                on_long=on_long,
                make_factory=make_factory,
            )

    @property
    def words(self) -> str | None:
        """Which parts work, for the status; None where none is wired."""
        return self._panel.words if self._panel is not None else None

    def start(self, loop: asyncio.AbstractEventLoop) -> None:
        if self._panel is not None:
            # the pin library opens a pipe where it is imported, and moves the process to this folder
            os.environ.setdefault("LG_WD", os.environ.get("RUNTIME_DIRECTORY", tempfile.gettempdir()))
            self._panel.start(loop)

    def stop(self) -> None:
        if self._panel is not None:
            self._panel.stop()

    def show(self, message: msgspec.Struct) -> None:
        if self._panel is not None and (pattern := _pattern(message)) is not None:
            self._panel.show(pattern)

    def tone(self, pitch: str) -> None:
        if self._panel is not None:
            self._panel.show(pitch)


def _pattern(message: msgspec.Struct) -> str | None:
    if isinstance(message, Asking):
        if message.ask is None or message.ask.phase in ("working-out", "done"):
            return "idle"
        return "ready" if message.ask.ready else "wants-you" if message.ask.enter else None
    if isinstance(message, SweepSaid):
        return {"kept": "kept", "refused": "refused", "undone": "refused"}.get(message.state)
    if isinstance(message, MarkTaken):
        return "kept"
    if isinstance(message, Concluded):
        return "idle"
    return "trouble" if isinstance(message, NotConcluded) else None
