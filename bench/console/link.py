"""The console's end of the wire: connects, listens, comes back by itself when the
daemon does. Knows nothing of screens: messages and states go to two callbacks on the
event loop.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Literal

import msgspec

from bench.protocol import (
    GetChecks,
    GetGear,
    GetStatus,
    Said,
    Watch,
    WireError,
    decode_said,
    encode,
)

# live readings: messages a second and instrument; digits are not drawn more often
MOST = 10.0
# s between attempts to reach a daemon that went away; the last one repeats
AGAIN = (0.1, 0.2, 0.4, 0.8)
GREETING = (GetGear(), GetStatus(), Watch(on=True, most=MOST), GetChecks())

LinkState = Literal["here", "away"]


def why_not(path: Path, error: OSError) -> str:
    """One sentence for the person: what is in the way and what would do."""
    if isinstance(error, PermissionError):
        return (
            f"{path} may not be opened: join the group sweepgauge, then log in again."
        )
    return f"No daemon answers at {path}."


def knock(path: Path) -> socket.socket | None:
    """Connect and ask at once, before the screen is even loaded: the answers wait in
    the socket meanwhile."""
    early = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    early.settimeout(0.5)
    try:
        early.connect(str(path))
        for request in GREETING:
            early.sendall(encode(request))
    except OSError:
        early.close()
        return None
    return early


class Splitter:
    """Bytes to messages; a line that is no message ends nothing, it is counted."""

    def __init__(self) -> None:
        self._buffer = bytearray()
        self.bad = 0

    def feed(self, data: bytes) -> Iterator[Said]:
        self._buffer += data
        while (end := self._buffer.find(b"\n")) >= 0:
            line = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            try:
                message = decode_said(line)
            except WireError:
                self.bad += 1
                continue
            if message is not None:
                yield message


class Link(asyncio.Protocol):
    """`on_said` gets each message; `on_state` "here" or "away" with a sentence."""

    def __init__(
        self,
        path: Path,
        on_said: Callable[[Said], None],
        on_state: Callable[[LinkState, str], None],
        *,
        early: socket.socket | None = None,
    ) -> None:
        self.path = path
        self._on_said, self._on_state = on_said, on_state
        self._early = early
        self._transport: asyncio.Transport | None = None
        self._lost = asyncio.Event()
        self._splitter = Splitter()
        self._stopped = False

    async def run(self) -> None:
        """Keep the connection until cancelled."""
        attempt = 0
        while True:
            try:
                await self._connect()
            except OSError as error:
                self._on_state("away", why_not(self.path, error))
            else:
                attempt = 0
                self._on_state("here", "")
                await self._lost.wait()
                self._on_state("away", "The daemon went away.")
            await asyncio.sleep(AGAIN[min(attempt, len(AGAIN) - 1)])
            attempt += 1

    async def _connect(self) -> None:
        self._lost.clear()
        loop = asyncio.get_running_loop()
        early, self._early = self._early, None
        if early is not None:
            early.setblocking(False)
            await loop.create_unix_connection(lambda: self, sock=early)
            return
        await loop.create_unix_connection(lambda: self, str(self.path))
        for request in GREETING:
            self.send(request)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._splitter = Splitter()

    def data_received(self, data: bytes) -> None:
        for message in self._splitter.feed(data):
            self._on_said(message)

    def connection_lost(self, exc: Exception | None) -> None:
        self._transport = None
        self._lost.set()

    def send(self, message: msgspec.Struct) -> bool:
        """False when nobody is there to hear it."""
        if self._transport is None or self._transport.is_closing():
            return False
        self._transport.write(encode(message))
        return True

    def close(self) -> None:
        with contextlib.suppress(RuntimeError):
            if self._transport is not None:
                self._transport.close()
