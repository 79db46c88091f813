"""The plain client and a daemon that is slow: waited for while its connection is open, however long, and said so."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.doctor.running_daemon import HANG_SILENCES, DaemonHangs, SlowAnswers
from bench.protocol import Done, GetStatus, Press, StatusReply, Version, client, encode
from bench.protocol.client import ConnectionClosed, NoDaemon, WireClient

SLOW = 4  # times that it is said before the answer comes


@pytest.fixture(autouse=True)
def impatient(monkeypatch) -> None:
    monkeypatch.setattr(client, "ANSWER_S", 0.01)


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
        server.bind(str(tmp_path / "socket"))
        server.listen()
        yield server


class Slowly:
    """Counts how often the client was slow; what is to be sent then goes out at the `SLOW`th time, by itself."""

    def __init__(self, server: socket.socket) -> None:
        self.said = 0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._serve, args=(server,), daemon=True)
        self.thread.start()

    def _serve(self, server: socket.socket) -> None:
        with server.accept()[0] as talk:
            self.over.wait()
            self.over.clear()
            talk.sendall(encode(Version("late")))
            talk.recv(1000)
            talk.sendall(encode(Done("of another kind")))
            self.over.wait()
            talk.sendall(encode(StatusReply("late", "", "recording", [], None, [])))

    def __call__(self) -> None:
        self.said += 1
        if self.said % SLOW == 0:
            self.over.set()


def test_a_daemon_that_is_slow_is_waited_for(listening, tmp_path) -> None:
    slowly = Slowly(listening)
    with WireClient(tmp_path / "socket", slow=slowly) as one:
        assert one.version.program == "late" and slowly.said >= SLOW
        assert one.ask(GetStatus(), StatusReply).program == "late"
        assert slowly.said >= 2 * SLOW
    slowly.thread.join()


def test_one_that_goes_away_is_not(listening, tmp_path) -> None:
    def serve() -> None:
        with listening.accept()[0] as talk:
            talk.sendall(encode(Version("short")))
            talk.recv(1000)

    threading.Thread(target=serve, daemon=True).start()
    with WireClient(tmp_path / "socket") as one, pytest.raises(ConnectionClosed):
        one.ask(Press(), Done)


def test_the_doctor_tells_of_one_that_hangs(listening, tmp_path) -> None:
    answers = SlowAnswers()
    with pytest.raises(DaemonHangs, match="has not answered for"):
        WireClient(tmp_path / "socket", slow=answers)
    assert answers.silences == HANG_SILENCES


def test_what_is_no_daemon_is_told(listening, tmp_path) -> None:
    def serve() -> None:
        with listening.accept()[0] as talk:
            talk.sendall(b"220 ready\r\n")

    threading.Thread(target=serve, daemon=True).start()
    with pytest.raises(NoDaemon, match="is not this daemon"):
        WireClient(tmp_path / "socket")
