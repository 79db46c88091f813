"""The screen behind a page: it speaks Textual's own packets over pipes, as textual-serve starts it.

The packets are those of Textual's web driver: a letter (D data, M meta), four bytes of length, the data.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import IO

import pytest


def typed(kind: bytes, data: bytes) -> bytes:
    return kind + len(data).to_bytes(4, "big") + data


def until(stream: IO[bytes], *words: bytes) -> None:
    """Reads what is drawn until the words are among it."""
    drawn = b""
    while not all(one in drawn for one in words):
        kind, data = packet(stream)
        drawn += data if kind == b"D" else b""


def packet(stream: IO[bytes]) -> tuple[bytes, bytes]:
    kind = stream.read(1)
    size = int.from_bytes(stream.read(4), "big")
    return kind, stream.read(size)


@pytest.mark.parametrize("width", [44, pytest.param(120, marks=pytest.mark.ci)])
def test_the_screen_is_drawn_and_touched_in_a_browser(tmp_path: Path, width: int) -> None:
    screen = subprocess.Popen(
        [sys.executable, "-m", "bench.cli", "console", "--socket", str(tmp_path / "none")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={
            **os.environ,
            "TEXTUAL_DRIVER": "textual.drivers.web_driver:WebDriver",
            "COLUMNS": str(width),
            "ROWS": "30",
            "TERM_PROGRAM": "textual",
        },
    )
    assert screen.stdin is not None and screen.stdout is not None
    try:
        assert screen.stdout.readline() == b"__GANGLION__\n"
        until(screen.stdout, b"no daemon")  # that it is not there is said on the screen
        screen.stdin.write(typed(b"M", b'{"type": "focus"}'))  # as the page says once it is touched
        screen.stdin.flush()
        until(screen.stdout, b"all keys")
        # a finger on the first key of the bottom row: press and release at column 2, as a browser's terminal says it
        screen.stdin.write(typed(b"D", b"\x1b[<0;2;30M\x1b[<0;2;30m"))
        screen.stdin.flush()
        until(screen.stdout, b"Leave the screen?")
        screen.stdin.write(typed(b"M", json.dumps({"type": "quit"}).encode()))
        screen.stdin.flush()
        assert screen.wait(timeout=60) == 0
    finally:
        screen.kill()
        screen.wait()
        screen.stdin.close()
        screen.stdout.close()
