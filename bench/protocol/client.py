"""A plain client of the daemon for scripts and commands: one socket, messages in and
out, no event loop."""

from __future__ import annotations

import select
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import msgspec

from bench.protocol import (
    Error,
    Message,
    Version,
    WireError,
    decode_notification,
    encode,
    take_lines,
)
from hw.timeouts import ANSWER_S

T = TypeVar("T")


class NoDaemon(Exception):
    """Nothing answers at the socket; the message says what to do."""


class RequestRefused(Exception):
    """The daemon answered with an error."""

    def __init__(self, error: Error) -> None:
        super().__init__(error.text)
        self.error = error


class ConnectionClosed(Exception):
    """The daemon closed the connection."""


class WireClient:
    """A daemon that is slow is waited for as long as its connection is open; `slow` is
    called meanwhile, every 5 s."""

    def __init__(self, path: Path, *, slow: Callable[[], None] = lambda: None) -> None:
        """Connect and hear the daemon's version. Raises NoDaemon, and whatever `slow`
        raises to give up."""
        self.path = path
        self._slow = slow
        self._buffer = bytearray()
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._connect()
            self.version = self._first()
        except BaseException:
            self._socket.close()
            raise

    def _connect(self) -> None:
        try:
            self._socket.connect(str(self.path))
        except PermissionError as error:
            raise NoDaemon(
                f"{self.path} may not be opened by you: `sweepgauge doctor` says which"
                " group to join"
            ) from error
        except OSError as error:
            raise NoDaemon(
                f"no daemon answers at {self.path} ({error.strerror or error}); start"
                " one with `sweepgauge daemon`, or try `sweepgauge demo`"
            ) from error

    def _first(self) -> Version:
        try:
            return self.answer(Version)
        except ConnectionClosed as error:
            raise NoDaemon(
                f"the daemon at {self.path} closed the connection at once"
            ) from error
        except RequestRefused as error:
            raise NoDaemon(f"the daemon at {self.path} refuses: {error}") from error
        except WireError as error:
            raise NoDaemon(f"what answers at {self.path} is not this daemon") from error

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
            raise ConnectionClosed(str(error)) from error

    def next(self, timeout: float | None = None) -> Message | None:
        """The next message; None when none came in time. Raises ConnectionClosed."""
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
        """Read what has come; to be called when the socket is readable. Raises
        ConnectionClosed."""
        try:
            data = self._socket.recv(262144)
        except OSError as error:
            raise ConnectionClosed(str(error)) from error
        if not data:
            raise ConnectionClosed("the daemon ended the connection")
        self._buffer += data

    def waiting(self) -> Iterator[Message]:
        """Messages already here."""
        for line in take_lines(self._buffer):
            if (message := decode_notification(line)) is not None:
                yield message

    def ask(
        self,
        message: msgspec.Struct,
        kind: type[T],
        *,
        meanwhile: Callable[[Message], None] = lambda said: None,
    ) -> T:
        """Send and wait for an answer of that kind; `meanwhile` hears what else is
        said. Raises RequestRefused, ConnectionClosed."""
        self.send(message)
        return self.answer(kind, meanwhile=meanwhile)

    def answer(
        self,
        kind: type[T],
        *,
        meanwhile: Callable[[Message], None] = lambda said: None,
    ) -> T:
        """The next message of that kind; `meanwhile` hears what comes before it. Raises
        RequestRefused, ConnectionClosed."""
        until = time.monotonic() + ANSWER_S
        while True:
            message = self.next(max(0.001, until - time.monotonic()))
            if isinstance(message, Error):
                raise RequestRefused(message)
            if isinstance(message, kind):
                return message
            if message is not None:
                meanwhile(message)
            if time.monotonic() >= until:
                self._slow()
                until = time.monotonic() + ANSWER_S
