"""The asyncio client of the daemon: one connection, or one that is kept up."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Literal

import msgspec

from bench.protocol import Message, WireError, decode_notification, encode, take_lines
from hw.timeouts import EARLY_CONNECT_S, RECONNECT_S

Connection = Literal["here", "away"]


class AsyncClient(asyncio.Protocol):
    """One connection to the daemon.

    on_message hears each message, on_lost the end of the connection. Without them the
    messages wait in `inbox`, and None stands there at the end. A line that is no
    message is counted in `unreadable` and ends nothing.
    """

    def __init__(
        self,
        on_message: Callable[[Message], None] | None = None,
        on_lost: Callable[[], None] | None = None,
    ) -> None:
        self.inbox: asyncio.Queue[Message | None] = asyncio.Queue()
        self.unreadable = 0
        self._on_message = on_message or self.inbox.put_nowait
        self._on_lost = on_lost or (lambda: self.inbox.put_nowait(None))
        self._transport: asyncio.Transport | None = None
        self._buffer = bytearray()

    @classmethod
    async def connect(cls, path: Path) -> AsyncClient:
        """A client whose messages wait in its inbox. Raises OSError."""
        client = cls()
        loop = asyncio.get_running_loop()
        await loop.create_unix_connection(lambda: client, str(path))
        return client

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._buffer.clear()

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        for line in take_lines(self._buffer):
            try:
                message = decode_notification(line)
            except WireError:
                self.unreadable += 1
                continue
            if message is not None:
                self._on_message(message)

    def connection_lost(self, exc: Exception | None) -> None:
        self._transport = None
        self._on_lost()

    def send(self, message: msgspec.Struct) -> bool:
        """False when nobody is there to hear it."""
        if self._transport is None or self._transport.is_closing():
            return False
        self._transport.write(encode(message))
        return True

    def close(self) -> None:
        with contextlib.suppress(RuntimeError):  # the event loop is closed already
            if self._transport is not None:
                self._transport.close()


class ReconnectingClient(AsyncClient):
    """A connection that is kept until `run` is cancelled.

    on_connection hears "here", or "away" with a sentence for the person. greeting: the
    requests that are sent on each connection. early: a socket on which the greeting was
    sent already.
    """

    def __init__(
        self,
        path: Path,
        on_message: Callable[[Message], None],
        on_connection: Callable[[Connection, str], None],
        *,
        greeting: Iterable[msgspec.Struct] = (),
        early: socket.socket | None = None,
    ) -> None:
        self._lost = asyncio.Event()
        super().__init__(on_message, self._lost.set)
        self.path = path
        self._on_connection = on_connection
        self._greeting = tuple(greeting)
        self._early = early

    async def run(self) -> None:
        attempt = 0
        while True:
            try:
                await self._open()
            except OSError as error:
                self._on_connection("away", _why_away(self.path, error))
            else:
                attempt = 0
                self._on_connection("here", "")
                await self._lost.wait()
                self._on_connection("away", "The daemon went away.")
            await asyncio.sleep(RECONNECT_S[min(attempt, len(RECONNECT_S) - 1)])
            attempt += 1

    async def _open(self) -> None:
        self._lost.clear()
        loop = asyncio.get_running_loop()
        early, self._early = self._early, None
        if early is not None:
            early.setblocking(False)
            await loop.create_unix_connection(lambda: self, sock=early)
            return
        await loop.create_unix_connection(lambda: self, str(self.path))
        for request in self._greeting:
            self.send(request)


def connect_early(
    path: Path, greeting: Iterable[msgspec.Struct]
) -> socket.socket | None:
    """Connect and ask at once, before the event loop runs: the answers wait in the
    socket meanwhile. None where no daemon answers."""
    early = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    early.settimeout(EARLY_CONNECT_S)
    try:
        early.connect(str(path))
        for request in greeting:
            early.sendall(encode(request))
    except OSError:
        early.close()
        return None
    return early


def _why_away(path: Path, error: OSError) -> str:
    """One sentence for the person: what is in the way and what would do."""
    if isinstance(error, PermissionError):
        return (
            f"{path} may not be opened: join the group sweepgauge, then log in again."
        )
    return f"No daemon answers at {path}."
