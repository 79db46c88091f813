"""Polling rounds: ports are read at once, or all together twenty times a second.

Waking a process costs more than reading a few bytes: four instruments at fifty readings
a second, each in its own time, wake it two hundred times a second. While nobody
measures, the ports may be read in rounds; the kernel keeps what comes in between (4 kB
at least). A round does not tell when a reading came within it, so a measurement has its
ports read at once.
"""

from __future__ import annotations

import asyncio
import select
from collections.abc import Callable

from hw.timer import Timer

SPACING = 0.05  # s between two rounds; chosen, no source


class PollingRounds:
    """Descriptors and what to call when one is readable. On the event loop only.

    waited: how long the bytes of a block may have waited before they were read, s.
    """

    def __init__(self) -> None:
        self.waited = 0.0
        self._ports: dict[int, Callable[[], None]] = {}
        self._poll = select.poll()
        self._next = Timer()  # the next round; still while ports are read at once

    @property
    def going(self) -> bool:
        """Whether ports are read in rounds now."""
        return self._next.running

    def join(self, fd: int, readable: Callable[[], None]) -> None:
        """Call readable() whenever the descriptor can be read or hung up, until it
        leaves."""
        self._ports[fd] = readable
        self._poll.register(fd, select.POLLIN)
        if not self.going:
            asyncio.get_running_loop().add_reader(fd, readable)

    def leave(self, fd: int) -> None:
        """To be called before the descriptor is closed: its number may be given to
        another file a moment later."""
        if self._ports.pop(fd, None) is None:
            return
        self._poll.unregister(fd)
        if not self.going:
            asyncio.get_running_loop().remove_reader(fd)
        elif not self._ports:
            self._end()

    def go(self, wanted: bool) -> None:
        """Read in rounds from now on; or, unwanted, read at once again."""
        if wanted and not self.going and self._ports:
            loop = asyncio.get_running_loop()
            for fd in self._ports:
                loop.remove_reader(fd)
            self.waited = SPACING
            self._next.start(SPACING, self._round)
        elif not wanted and self.going:
            self._end()

    def _end(self) -> None:
        self._next.stop()
        self.waited = 0.0
        loop = asyncio.get_running_loop()
        for fd, readable in self._ports.items():
            loop.add_reader(fd, readable)

    def _round(self) -> None:
        self._next.start(SPACING, self._round)
        for fd, _ in self._poll.poll(0):
            # A port that was read before this one in the round may have closed it.
            if (readable := self._ports.get(fd)) is None:
                continue
            try:
                readable()
            except Exception as error:
                # The event loop treats its own readers so: the fault is reported and
                # the other ports are still read.
                asyncio.get_running_loop().call_exception_handler(
                    {"message": "a port's reader failed", "exception": error}
                )
