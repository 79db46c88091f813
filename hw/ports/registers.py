"""A device whose registers are requested: Modbus RTU over a serial port.

Requests go out at a steady rate, and never before the last answer has come or timed
out. An answer ends by its own length or with the time-out; the decoder gets it as one
line in hexadecimal. Some RS-485 cables echo what is sent: an exact echo of the request
is removed.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Mapping
from typing import Any

from hw.formats.shared.wire_format import Query
from hw.port_names import PortOptions
from hw.ports.reconnecting_port import OnBlock, OnState
from hw.ports.serial_port import SerialPort

FASTEST = 50.0  # requests a second
SILENT_REQUESTS = 5  # requests without an answer, after which the port is silent


class RegisterPort(SerialPort):
    """options: of the format, complete. rate: requests a second, at most 50."""

    def __init__(
        self,
        port: PortOptions,
        query: Query,
        options: Mapping[str, Any],
        on_block: OnBlock,
        on_state: OnState,
        rate: float | None = None,
    ) -> None:
        super().__init__(port, self._bytes, on_state)
        self.unanswered = 0  # requests, one after the other
        self._query = query
        self._request = query.request(options)
        self._timeout: float = options["timeout"]
        self._interval = 1.0 / min(FASTEST, rate or query.rate)
        self._on_answer = on_block
        self._heard = bytearray()
        self._echo = False  # an echo may still come before the answer
        self._when = 0
        self._done = asyncio.Event()

    def write(self, data: bytes) -> bool:
        """Nothing but the requests goes out."""
        return False

    async def _serve(self) -> None:
        """One request, one answer or none, for as long as the port is open."""
        self.unanswered = 0
        due = time.monotonic() + self.options.settle
        while True:
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            due = time.monotonic() + self._interval
            self._heard.clear()
            self._echo = True
            self._done.clear()
            if not super().write(self._request):
                continue
            with contextlib.suppress(TimeoutError):
                # wait_for of Python 3.11 may lose a cancel, and with it the end
                async with asyncio.timeout(self._timeout):
                    await self._done.wait()
            self._give()

    def _bytes(self, data: bytes, when: int) -> None:
        self._heard += data
        self._when = when
        size = len(self._request)
        # The third byte of a request is its register, of an answer a length: so an echo
        # differs from an answer.
        if self._echo and len(self._heard) >= size:
            if bytes(self._heard[:size]) == self._request:
                del self._heard[:size]
            self._echo = False
        if self._whole():
            self._done.set()

    def _whole(self) -> bool:
        heard = self._heard
        if self._echo and self._request.startswith(bytes(heard)):
            return False
        return self._query.whole(bytes(heard))

    def _give(self) -> None:
        if self._heard:
            self.unanswered = 0
            self._on_answer(self._query.to_text(bytes(self._heard)), self._when)
            return
        self.unanswered += 1
        if self.unanswered == SILENT_REQUESTS:
            # each time, also where the same was said before
            self._on_state(
                "silent",
                f"{self.where}: the device does not answer: check its address, baud"
                " rate and parity, and whether the two wires are the right way round.",
            )
