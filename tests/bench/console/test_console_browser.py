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


def packet(stream: IO[bytes]) -> tuple[bytes, bytes]:
    kind = stream.read(1)
    size = int.from_bytes(stream.read(4), "big")
    return kind, stream.read(size)


@pytest.mark.parametrize("width", [44, pytest.param(120, marks=pytest.mark.ci)])
def test_the_screen_is_drawn_for_a_browser(tmp_path: Path, width: int) -> None:
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
        drawn = b""
        while b"daemon" not in drawn:  # that it is not there is said on the screen
            kind, data = packet(screen.stdout)
            if kind == b"D":
                drawn += data
        quit_it = json.dumps({"type": "quit"}).encode()
        screen.stdin.write(b"M" + len(quit_it).to_bytes(4, "big") + quit_it)
        screen.stdin.flush()
        assert screen.wait(timeout=60) == 0
    finally:
        screen.kill()
        screen.wait()
        screen.stdin.close()
        screen.stdout.close()
