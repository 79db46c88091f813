"""A hand that pushes and draws back for ever, and one JSON line for each reliability figure."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


class Pushing:
    """Pushes the rig's sled to and fro in a thread until closed."""

    def __init__(self, rig, length: float = 120.0, speed: float = 1200.0) -> None:
        self._rig, self._length, self._speed = rig, length, speed
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            for to in (self._length, 0.0):
                self._rig.go(to, self._speed)
                self._stop.wait(0.9)

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5)


@pytest.fixture
def pushing() -> Iterator[Callable[..., Pushing]]:
    made: list[Pushing] = []

    def start(rig, **kept: float) -> Pushing:
        made.append(Pushing(rig, **kept))
        return made[-1]

    yield start
    for one in made:
        one.close()


@pytest.fixture
def wire(tmp_path: Path) -> Iterator[Callable[[], object]]:
    """Connects to the daemon of this test's folder, waiting until it answers."""
    from bench.client import NoDaemon, WireClient

    made = []

    def connect(seconds: float = 10.0):
        until = time.monotonic() + seconds
        while True:
            try:
                client = WireClient(tmp_path / "socket")
            except NoDaemon:
                if time.monotonic() > until:
                    raise
                time.sleep(0.01)
                continue
            made.append(client)
            return client

    yield connect
    for client in made:
        client.close()


@pytest.fixture
def figure(capsys) -> Callable[..., None]:
    """Prints {test, figure, limit, pass} and fails where it does not pass."""

    def say(test: str, value: object, limit: object, *, good: bool) -> None:
        with capsys.disabled():
            print("\n" + json.dumps({"test": test, "figure": value, "limit": limit, "pass": good}))
        assert good, (test, value, limit)

    return say
