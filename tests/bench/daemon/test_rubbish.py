"""Clients and ports that send rubbish: an error to the one, a state to all, nobody else loses anything."""

from __future__ import annotations

import contextlib
import json
import socket
import stat
import time

import pytest

from bench.protocol import Begin, Error, GetStatus, Readings, StatusReply, Watch
from tests.bench.daemon.conftest import hear_state


def raw(tmp_path) -> socket.socket:
    one = socket.socket(socket.AF_UNIX)
    one.settimeout(5)
    one.connect(str(tmp_path / "socket"))
    return one


def test_a_bad_message_is_an_error_object_on_a_socket_for_the_group_alone(rigs, run, wire, tmp_path) -> None:
    rigs()
    run("daemon").hear("ready")
    assert stat.S_IMODE((tmp_path / "socket").stat().st_mode) == 0o660
    for line in (
        b"hello\n",
        b"\xff\xfe\x00\n",
        b"[" * 60000 + b"\n",
        b'{"type": "nonsense"}\n',
        b'{"type": "begin"}\n',
        b'{"type": "begin", "check": 7}\n',
        b"null\n",
    ):
        one = raw(tmp_path)
        with one, one.makefile("rb") as lines:
            assert json.loads(lines.readline())["type"] == "version"
            one.sendall(line)
            while (answer := json.loads(lines.readline()))["type"] == "instrument":
                pass  # how the instruments do is told to everybody
            assert answer["type"] == "error" and answer["text"], line[:40]
            one.sendall(b'{"type": "status"}\n')
            while (answer := json.loads(lines.readline()))["type"] != "status-reply":
                pass
    client = wire()
    for begin, says in (
        (Begin("nonsense"), "no check is called"),
        (Begin("fence-square", jig="nobody"), "nobody"),
        (Begin("fence-square", sweeps=0), "1 to 50"),
        (Begin("test-board"), "no caliper"),
    ):
        client.send(begin)
        while not isinstance(answer := client.next(60.0), Error):
            assert answer is not None
        assert says in answer.text


@pytest.mark.ci
def test_others_lose_nothing_by_it(rigs, run, wire, tmp_path) -> None:
    """One never reads, one sends ten megabytes without an end, many come and go: a watcher sees every reading."""
    rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    watcher = wire()
    watcher.send(Watch())
    deaf = raw(tmp_path)
    deaf.sendall(b'{"type": "watch"}\n')
    flood = raw(tmp_path)
    flood.setblocking(False)
    expected: dict[str, int] = {}
    lost = 0
    until = time.monotonic() + 3.0
    block = b"x" * 65536
    while time.monotonic() < until or min(expected.values(), default=0) <= 100:
        assert time.monotonic() < until + 60.0
        with contextlib.suppress(OSError):
            flood.send(block)
        raw(tmp_path).close()
        message = watcher.next(0.05)
        if isinstance(message, Readings):
            lost += message.first - expected.get(message.instrument, message.first)
            expected[message.instrument] = message.first + len(message.values)
    assert lost == 0
    deaf.close()
    flood.close()
    assert daemon.end() == 0


@pytest.mark.ci
def test_a_port_that_sends_rubbish_is_a_state_and_comes_back(rigs, run, wire) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    client = wire()
    rig.sends = False
    until = time.monotonic() + 60
    while (indicator := client.ask(GetStatus(), StatusReply).instruments[0]).rejects < 20:
        assert time.monotonic() < until
        rig.send("indicator", b"\x81\x02 not a reading \xff\r\n")
    assert indicator.name == "indicator" and indicator.state == "garbled"
    assert "baud rate" in indicator.words
    rig.sends = True
    hear_state(client, "indicator", "open")
