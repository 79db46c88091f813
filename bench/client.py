"""A plain client of the daemon for scripts and commands: one socket, messages in and out, no event loop.

May import: bench.wire.
"""

from __future__ import annotations

import select
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec

from bench.wire import Error, Said, Version, decode_said, encode


class NoDaemon(Exception):
    """Nothing answers at the socket; the message says what to do."""


class Refused(Exception):
    """The daemon answered with an error."""

    def __init__(self, error: Error) -> None:
        super().__init__(error.text)
        self.error = error


class Gone(Exception):
    """The daemon closed the connection."""


class WireClient:
    def __init__(self, path: Path, timeout: float = 3.0) -> None:
        """Connect and hear the daemon's version. Raises NoDaemon."""
        self.path = path
        self._buffer = bytearray()
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.settimeout(timeout)
        try:
            self._socket.connect(str(path))
        except PermissionError as error:
            self._socket.close()
            raise NoDaemon(
                f"{path} may not be opened by you: `sweepgauge doctor` says which group to join"
            ) from error
        except OSError as error:
            self._socket.close()
            raise NoDaemon(
                f"no daemon answers at {path} ({error.strerror or error}); start one with `sweepgauge daemon`, or try "
                f"`sweepgauge demo`"
            ) from error
        try:
            first = self.next(timeout)
        except Gone as error:
            raise NoDaemon(f"the daemon at {path} closed the connection at once") from error
        if isinstance(first, Error):
            raise NoDaemon(f"the daemon at {path} refuses: {first.text}")
        if not isinstance(first, Version):
            raise NoDaemon(f"what answers at {path} is not this daemon")
        self.version = first

    def fileno(self) -> int:
        return self._socket.fileno()

    def close(self) -> None:
        self._socket.close()

    def __enter__(self) -> WireClient:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def send(self, message: msgspec.Struct) -> None:
        try:
            self._socket.sendall(encode(message))
        except OSError as error:
            raise Gone(str(error)) from error

    def next(self, timeout: float | None = None) -> Said | None:
        """The next message; None when none came in time. Raises Gone."""
        until = None if timeout is None else time.monotonic() + timeout
        while True:
            for message in self.waiting():
                return message
            left = None if until is None else max(0.0, until - time.monotonic())
            if left == 0.0 and timeout:
                return None
            if not select.select([self._socket], [], [], left)[0]:
                return None
            self.fill()

    def fill(self) -> None:
        """Read what has come; to be called when the socket is readable. Raises Gone."""
        try:
            data = self._socket.recv(262144)
        except TimeoutError:
            return
        except OSError as error:
            raise Gone(str(error)) from error
        if not data:
            raise Gone("the daemon ended the connection")
        self._buffer += data

    def waiting(self) -> Iterator[Said]:
        """Messages already here."""
        while (end := self._buffer.find(b"\n")) >= 0:
            line = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            message = decode_said(line)
            if message is not None:
                yield message

    def ask(
        self,
        message: msgspec.Struct,
        *kinds: type,
        timeout: float = 10.0,
        meanwhile: Callable[[Said], None] = lambda said: None,
    ) -> Said:
        """Send and wait for an answer of one of `kinds`; `meanwhile` hears what else is said. Raises Refused, Gone,
        NoDaemon on silence."""
        self.send(message)
        until = time.monotonic() + timeout
        while time.monotonic() < until:
            answer = self.next(until - time.monotonic())
            if isinstance(answer, Error):
                raise Refused(answer)
            if answer is not None and isinstance(answer, kinds):
                return answer
            if answer is not None:
                meanwhile(answer)
        raise NoDaemon(f"the daemon at {self.path} did not answer within {timeout:.0f} s")
