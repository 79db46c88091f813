"""A device whose registers are requested: Modbus RTU over a serial port.

It has the interface of `hw.ports.serial_port.SerialPort`. Requests go out at a steady
rate, and never before the last answer has come or timed out. An answer ends by its own
length or with the time-out; the decoder gets it as one line in hexadecimal. Some RS-485
cables echo what is sent: an exact echo of the request is removed.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Mapping
from typing import Any

from hw.formats.shared.declaration import Query
from hw.ports.serial_port import OnBlock, OnState, PortOptions, SerialPort
from hw.reading import PortState

FASTEST = 50.0  # requests a second
SILENT = 5  # requests without an answer, after which the port is silent


class RegisterPort:
    """start() and stop() are called on the event loop, and so are both callbacks.

    options: of the format, complete. rate: requests a second, at most 50.
    """

    def __init__(
        self,
        port: PortOptions,
        query: Query,
        options: Mapping[str, Any],
        on_block: OnBlock,
        on_state: OnState,
        rate: float | None = None,
    ) -> None:
        self.serial = SerialPort(port, self._bytes, self._state)
        self.heard_silence = False
        self.unanswered = 0  # requests, one after the other
        self._query = query
        self._request = query.request(options)
        self._timeout: float = options["timeout"]
        self._interval = 1.0 / min(FASTEST, rate or query.rate)
        self._on_block, self._on_state = on_block, on_state
        self._heard = bytearray()
        self._echo = False  # an echo may still come before the answer
        self._when = 0
        self._done = asyncio.Event()
        self._requester: asyncio.Task[None] | None = None

    @property
    def is_open(self) -> bool:
        return self.serial.is_open

    def start(self) -> None:
        self.serial.start()

    async def stop(self) -> None:
        self._stop_requests()
        await self.serial.stop()

    def write(self, data: bytes) -> bool:
        """Nothing but the requests goes out."""
        return False

    def stuck(self) -> bool:
        return self.serial.stuck()

    def _state(self, state: PortState, words: str) -> None:
        self._stop_requests()
        self._on_state(state, words)
        if state == "open":
            self.unanswered = 0
            self._requester = asyncio.get_running_loop().create_task(
                self._request_readings()
            )

    def _stop_requests(self) -> None:
        if self._requester is not None:
            self._requester.cancel()
            self._requester = None

    async def _request_readings(self) -> None:
        """One request, one answer or none, for as long as the port is open."""
        due = time.monotonic() + self.serial.options.settle
        while True:
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            due = time.monotonic() + self._interval
            self._heard.clear()
            self._echo = True
            self._done.clear()
            if not self.serial.write(self._request):
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
            self._on_block(self._query.to_text(bytes(self._heard)), self._when)
            return
        self.unanswered += 1
        if self.unanswered == SILENT:
            port = self.serial.options.port
            self._on_state(
                "silent",
                f"{port}: the device does not answer: check its address, baud rate and"
                " parity, and whether the two wires are the right way round.",
            )
