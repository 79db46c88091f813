"""A timer on an event loop: one delayed call that can be cancelled."""

from __future__ import annotations

import asyncio
from collections.abc import Callable


class Timer:
    """At most one call waits. loop: by default the one that runs when it is started."""

    def __init__(self, loop: asyncio.AbstractEventLoop | None = None) -> None:
        self._loop = loop
        self._handle: asyncio.Handle | None = None
        self.running = False  # a call waits

    def start(self, delay: float, call: Callable[[], object]) -> None:
        """Call after `delay` s, in place of what was started before."""

        def now() -> None:
            self.running = False
            call()

        self.stop()
        loop = self._loop or asyncio.get_running_loop()
        self._handle, self.running = loop.call_later(delay, now), True

    def stop(self) -> None:
        if self._handle is not None:
            self._handle.cancel()
        self._handle, self.running = None, False
