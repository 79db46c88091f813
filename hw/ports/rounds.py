"""When ports are read: each as soon as something comes, or all together twenty times a
second.

A process that is woken pays more for the waking than for what it was woken for: four
instruments at fifty a second, each in its own time, are two hundred wakes. Where nobody
measures and nobody wants each reading at once, nothing is lost by looking in rounds:
the kernel keeps what comes between (4 kB at least). When in the round a reading came is
not known then, so a measurement must have its ports read at once.
"""

from __future__ import annotations

import asyncio
import select
from collections.abc import Callable

SPACING = 0.05  # s between two rounds


class Rounds:
    """Descriptors and what to call when one is readable. On the event loop only."""

    def __init__(self) -> None:
        self._ports: dict[int, Callable[[], None]] = {}
        self._poll = select.poll()
        # of the next round; None while ports are read at once
        self._timer: asyncio.TimerHandle | None = None

    @property
    def going(self) -> bool:
        """Whether ports are read in rounds just now."""
        return self._timer is not None

    def join(self, fd: int, readable: Callable[[], None]) -> None:
        """Until it leaves, readable() is called when something can be read there, or it
        hung up."""
        self._ports[fd] = readable
        self._poll.register(fd, select.POLLIN)
        if self._timer is None:
            asyncio.get_running_loop().add_reader(fd, readable)

    def leave(self, fd: int) -> None:
        """Before the descriptor is closed: its number may be another's a moment later."""
        if self._ports.pop(fd, None) is None:
            return
        self._poll.unregister(fd)
        if self._timer is None:
            asyncio.get_running_loop().remove_reader(fd)
        elif not self._ports:
            self._end()

    def go(self, wanted: bool) -> None:
        """In rounds from now on; or no longer, and what waits is read at once."""
        if wanted and self._timer is None and self._ports:
            self._begin()
        elif not wanted and self._timer is not None:
            self._end()

    def _begin(self) -> None:
        loop = asyncio.get_running_loop()
        for fd in self._ports:
            loop.remove_reader(fd)
        self._timer = loop.call_later(SPACING, self._round)

    def _end(self) -> None:
        loop = asyncio.get_running_loop()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        for fd, readable in self._ports.items():
            loop.add_reader(fd, readable)

    def _round(self) -> None:
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(SPACING, self._round)
        for fd, _ in self._poll.poll(0):
            # one before it closed this one
            if (readable := self._ports.get(fd)) is None:
                continue
            try:
                readable()
            except Exception as error:
                # as the loop does it itself: told, and the others are read all the same
                loop.call_exception_handler(
                    {"message": "a port's reader failed", "exception": error}
                )
