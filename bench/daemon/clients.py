"""The daemon's clients on its Unix socket: one JSON object a line, bounded queues.

A client that does not read loses its live readings first, which their numbering shows,
then its connection. No client waits for another.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import stat
from collections.abc import Awaitable, Callable
from pathlib import Path

import msgspec

from bench.log.importer import Importer
from bench.protocol import (
    LONGEST_REQUEST,
    Error,
    RawBytes,
    Readings,
    Request,
    WireError,
    decode_request,
    encode,
)
from hw.timeouts import SOCKET_PROBE_S

# bytes queued for a client, above which it gets no readings
SKIP_LIVE_BYTES = 256 * 1024
DROP_BYTES = 1024 * 1024  # bytes queued for a client, above which it is dropped
MOST_CLIENTS = 64  # connections at once; a shop has a few
MOST_BAD = 20  # bad messages of a connection before it is dropped

log = logging.getLogger("sweepgauge.clients")


class SocketHeld(Exception):
    """Another daemon answers at this socket."""


class Client:
    """The connection of one client."""

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        self._transport = writer.transport
        # waits until the client has read most of what was sent
        self.drained = writer.drain
        self.watching = False
        self.most: float | None = None  # messages a second per instrument
        self.capturing: str | None = None
        self.gathered: dict[
            str, Readings
        ] = {}  # live readings that wait, by instrument
        self.due: dict[str, float] = {}
        self.importing: Importer | None = None  # the export that it is sending
        self._large = 0  # bytes of a large answer that it may not have read yet
        self.bad = 0
        self.spoke = False  # it has asked for something
        self.closed = False

    def send_line(self, line: bytes, *, live: bool = False) -> None:
        if self.closed:
            return
        waiting = self._transport.get_write_buffer_size()
        if waiting == 0:
            self._large = 0
        if waiting > DROP_BYTES + self._large:
            log.warning("a client does not read; it is dropped")
            self.drop()
        elif not (live and waiting > SKIP_LIVE_BYTES):
            self._transport.write(line)

    def send(self, message: msgspec.Struct) -> None:
        self.send_line(encode(message))

    def send_large(self, message: msgspec.Struct) -> None:
        """An answer as long as the log is: it does not count against a client that has
        not read it yet."""
        line = encode(message)
        self.send_line(line)
        self._large = len(line)

    def send_readings(self, readings: Readings, line: bytes, now: float) -> None:
        """Send at most `most` messages a second; what comes between is gathered."""
        if self.most is None:
            # What was gathered before every reading was wanted goes first.
            if (before := self.gathered.pop(readings.instrument, None)) is not None:
                self.send_line(encode(before), live=True)
            self.send_line(line, live=True)
            return
        before = self.gathered.get(readings.instrument)
        if before is not None and before.first + len(before.values) == readings.first:
            before.at.extend(readings.at)
            before.values.extend(readings.values)
        else:
            self.gathered[readings.instrument] = msgspec.structs.replace(
                readings, at=list(readings.at), values=list(readings.values)
            )
        self.flush(now, readings.instrument)

    def flush(self, now: float, instrument: str | None = None) -> None:
        for name in [instrument] if instrument else list(self.gathered):
            if name in self.gathered and now >= self.due.get(name, 0.0):
                self.send_line(encode(self.gathered.pop(name)), live=True)
                self.due[name] = now + 1.0 / (self.most or 10.0)

    def drop(self) -> None:
        self.closed = True
        self._transport.abort()

    def dismiss(self, error: Error) -> None:
        """Close the connection after telling why."""
        self.send(error)
        self.closed = True
        self._transport.close()


OnRequest = Callable[[Client, Request], Awaitable[None]]


class Clients:
    """All connections, and the socket at which they come in."""

    def __init__(
        self, path: Path, greet: Callable[[Client], None], on_request: OnRequest
    ) -> None:
        self.path = path
        self.all: dict[Client, None] = {}  # in the order in which they came
        self._greet = greet
        self._on_request = on_request
        self._server: asyncio.Server | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    async def start(self) -> None:
        """Raises SocketHeld when a daemon answers there, OSError when the socket cannot
        be made."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        if self.path.exists():
            if not stat.S_ISSOCK(self.path.stat().st_mode):
                raise OSError(f"{self.path} is there and is not a socket")
            if _answers(self.path):
                raise SocketHeld(f"another daemon answers at {self.path}")
            self.path.unlink()  # left by a daemon that was killed
        old = os.umask(0o177)
        try:
            self._server = await asyncio.start_unix_server(
                self._connected, self.path, limit=LONGEST_REQUEST
            )
        finally:
            os.umask(old)
        self.path.chmod(0o660)

    async def stop(self) -> None:
        if self._server is not None:
            self._server.close()
        for client in list(self.all):
            client.closed = True
            client._transport.close()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        with contextlib.suppress(OSError):
            self.path.unlink()

    def tell(self, message: msgspec.Struct) -> None:
        if self.all:
            line = encode(message)
            for client in list(self.all):
                client.send_line(line)

    def tell_readings(self, readings: Readings, now: float) -> None:
        line = None
        for client in list(self.all):
            if client.watching:
                if line is None:
                    line = encode(readings)
                client.send_readings(readings, line, now)

    def tell_raw(self, name: str, data: bytes) -> None:
        """The bytes of one block, to the clients that capture this instrument."""
        for client in self.all:
            if client.capturing == name:
                client.send(RawBytes(name, data.hex()))

    @property
    def watched(self) -> bool:
        return any(client.watching for client in self.all)

    async def _connected(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        client = Client(writer)
        try:
            if len(self.all) >= MOST_CLIENTS and not self._made_room():
                client.send(
                    Error(
                        "busy",
                        f"{MOST_CLIENTS} clients are connected already; close one",
                    )
                )
                return
            self.all[client] = None
            self._greet(client)
            await self._serve(client, reader)
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            self.all.pop(client, None)
            self._tasks.discard(task)
            if not client.closed:
                # an answer that still waits for the disk goes nowhere
                client.closed = True
                with contextlib.suppress(ConnectionError, RuntimeError):
                    writer.close()

    def _made_room(self) -> bool:
        """Dismiss the client connected longest without a single request; False where
        every client has sent one."""
        silent = next((client for client in self.all if not client.spoke), None)
        if silent is None:
            return False
        del self.all[silent]
        silent.dismiss(
            Error(
                "busy",
                "another client needs the place; ask for something and it is yours",
            )
        )
        return True

    async def _serve(self, client: Client, reader: asyncio.StreamReader) -> None:
        while not client.closed:
            try:
                line = await reader.readuntil(b"\n")
            except asyncio.IncompleteReadError:
                return
            except asyncio.LimitOverrunError:
                client.send(
                    Error(
                        "bad-message",
                        f"a line of more than {LONGEST_REQUEST} bytes; the connection"
                        " ends",
                    )
                )
                return
            if not line.strip():
                continue
            try:
                request = decode_request(line)
            except WireError as error:
                client.bad += 1
                client.send(Error("bad-message", str(error)))
                if client.bad > MOST_BAD:
                    return
                continue
            client.spoke = True
            await self._on_request(client, request)


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(SOCKET_PROBE_S)
        try:
            probe.connect(os.fspath(path))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
        except OSError:
            pass  # it is there, and has no time just now
        return True
