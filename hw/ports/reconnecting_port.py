"""The base of all ports: opened in the background, and again after a loss."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from hw.reading import PortState

OnBlock = Callable[[bytes, int], None]  # data, monotonic ns of its arrival
OnState = Callable[[PortState, str], None]  # state, sentence


class ReconnectingPort:
    """start() and stop() are called on the event loop, and so are both callbacks.

    where: the port's name in sentences. retry: s until it is opened again, at first and
    at last.
    """

    # the line was silent before the first bytes, so that these begin a line
    heard_silence = False
    OPENED = "{} is open."
    LOST = "{} went away ({}); it is taken up again when it is back."

    def __init__(
        self,
        where: str,
        on_block: OnBlock,
        on_state: OnState,
        retry: tuple[float, float],
    ) -> None:
        self.where = where
        self.on_block = on_block  # may be replaced while the port is open
        self.opened = 0  # times
        self._on_state = on_state
        self._reported: tuple[PortState, str] | None = None
        self._first_retry, self._last_retry = retry
        self._retry = self._first_retry
        self._opener: asyncio.Task[None] | None = None

    def start(self, wait: float = 0.0) -> None:
        loop = asyncio.get_running_loop()
        self._opener = loop.create_task(self._keep_opening(wait))

    async def stop(self) -> None:
        """After this no callback comes, also when the port was being opened."""
        task, self._opener = self._opener, None
        self._close()
        if task is not None:
            task.cancel()
            await asyncio.wait([task])

    def write(self, data: bytes) -> bool:
        """Send to the instrument (a request for a reading); False where that does not
        go."""
        return False

    def stuck(self) -> bool:
        """Whether input waits to be read; if it does for long, the reader hangs."""
        raise NotImplementedError

    async def _keep_opening(self, wait: float) -> None:
        await asyncio.sleep(wait)
        while not await self._try_to_open():
            await asyncio.sleep(self._retry)
            self._wait_longer()
        self.opened += 1
        self._report("open", self.OPENED.format(self.where))
        await self._serve()

    def _report(self, state: PortState, words: str) -> None:
        """Report a state; the same one is not reported twice in a row."""
        if (state, words) != self._reported:
            self._reported = (state, words)
            self._on_state(state, words)

    def _wait_longer(self) -> None:
        self._retry = min(self._last_retry, self._retry * 1.5)

    async def _try_to_open(self) -> bool:
        """Open the port and start to read it. A failure is reported and gives False."""
        raise NotImplementedError

    async def _serve(self) -> None:
        """The work beside reading, while the port is open; none by default."""

    def _lost(self, why: str) -> None:
        self._close()
        self._report("absent", self.LOST.format(self.where, why))
        if self._opener is not None:
            self._opener.cancel()
            self.start(self._retry / 2)
            self._wait_longer()

    def _close(self) -> None:
        """Close the port; nothing where it is not open."""
        raise NotImplementedError
