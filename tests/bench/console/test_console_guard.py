"""The terminal is left as it was found: ended, told to end, killed outright. On real pseudo-terminals."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import random
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest
from processes import ended

MODE = re.compile(rb"\x1b\[\?([0-9;]+)([hl])")
# as a terminal starts, by xterm's control sequences: the cursor shows, lines wrap; all other modes are off, such as
# 1049 (the other screen), 1000 to 1006 and 1015 and 1016 (the mouse), 1004 (focus), 2004 (paste), 2048 (resizing)
ON_AT_FIRST = {b"25", b"7"}


# what a shell is to the program: it leads the session, gives it the terminal, and outlives it
SHELL = """
import fcntl, os, signal, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
signal.signal(signal.SIGTTOU, signal.SIG_IGN)
pid = os.fork()
if pid == 0:
    os.setpgid(0, 0)
    os.tcsetpgrp(0, os.getpid())
    signal.signal(signal.SIGTTOU, signal.SIG_DFL)
    os.execv(sys.executable, [sys.executable, "-m", "bench.cli", *sys.argv[2:]])
out = os.fdopen(int(sys.argv[1]), "w")
print(pid, file=out, flush=True)
print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), file=out, flush=True)
signal.pause()
"""


class Terminal:
    """A pseudo-terminal with a program in the foreground; `pid` is the program as the user started it."""

    def __init__(self, args: list[str], term: str = "xterm-256color") -> None:
        self.fd, self.hold = os.openpty()
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self.hold)
        self.heard = b""
        told, tells = os.pipe()
        self.shell = subprocess.Popen(
            [sys.executable, "-c", SHELL, str(tells), *args],
            stdin=self.hold,
            stdout=self.hold,
            stderr=self.hold,
            start_new_session=True,
            pass_fds=[tells],
            env={**os.environ, "TERM": term},
        )
        os.close(tells)
        self.told = os.fdopen(told)
        self.pid = int(self.told.readline())

    def exit_code(self) -> int:
        return int(self.told.readline())

    def hear(self, wanted: bytes | None, seconds: float) -> bool:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if wanted is not None and wanted in self.heard:
                return True
            if select.select([self.fd], [], [], 0.02)[0]:
                try:
                    self.heard += os.read(self.fd, 65536)
                except OSError:
                    return wanted is None
        return wanted is None or wanted in self.heard

    def child(self) -> int:
        """The process that draws: the youngest below."""
        pid = self.pid
        while below := Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            pid = int(below[-1])
        return pid

    def modes(self) -> set[bytes]:
        """The modes that are on after all that was heard."""
        on = set(ON_AT_FIRST)
        for numbers, way in MODE.findall(self.heard):
            (on.update if way == b"h" else on.difference_update)(numbers.split(b";"))
        return on

    def as_before(self) -> bool:
        """The same settings, no other screen, no mouse, focus or paste reports; and plain keys."""
        plain = self.heard.count(b"\x1b[>1u") <= self.heard.count(b"\x1b[<u")
        return termios.tcgetattr(self.hold) == self.before and self.modes() == ON_AT_FIRST and plain

    def restored(self, seconds: float = 60.0) -> bool:
        """The other screen is left, the cursor is back, no key is raw."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and not self.as_before():
            self.hear(None, 0.05)
        return self.as_before()

    def close(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        self.shell.kill()
        self.shell.wait()
        self.told.close()
        os.close(self.hold)
        os.close(self.fd)


@pytest.fixture
def terminal(tmp_path: Path):
    made: list[Terminal] = []

    def start() -> Terminal:
        one = Terminal(["console", "--socket", str(tmp_path / "none")])
        made.append(one)
        assert one.hear(b"daemon", 60), one.heard[-300:]
        return one

    yield start
    for one in made:
        one.close()


def raw(one: Terminal) -> bool:
    return not termios.tcgetattr(one.hold)[3] & termios.ICANON


def test_left_by_key(terminal) -> None:
    one = terminal()
    assert raw(one)
    os.write(one.fd, b"-")
    assert one.hear(b"Leave the screen", 60)
    time.sleep(0.6)  # what comes sooner is a key that bounces
    os.write(one.fd, b"\r")
    assert one.restored()
    assert one.exit_code() == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, pytest.param(signal.SIGHUP, marks=pytest.mark.ci)])
def test_told_to_end(terminal, number) -> None:
    one = terminal()
    os.kill(one.pid, number)
    assert one.restored()
    assert one.exit_code() == 0


@pytest.mark.ci
def test_the_drawing_process_killed(terminal) -> None:
    one = terminal()
    os.kill(one.child(), signal.SIGKILL)
    assert one.restored()
    assert one.exit_code() == 128 + signal.SIGKILL


def test_the_waiting_process_killed_takes_the_other_along(terminal) -> None:
    one = terminal()
    child = one.child()
    os.kill(one.pid, signal.SIGKILL)
    assert one.exit_code() == -signal.SIGKILL
    assert one.restored()
    assert ended(child)


@pytest.mark.slow
@pytest.mark.parametrize("whom", ["the waiting one", "the drawing one"])
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP])
def test_killed_fifty_times_at_random_moments(tmp_path: Path, number, whom) -> None:
    """From the first moment at which anything was drawn; before it nothing is changed."""
    draw = random.Random(7)
    restored = 0
    for _ in range(50):
        one = Terminal(["console", "--socket", str(tmp_path / "none")])
        try:
            assert one.hear(b"\x1b[?1049h", 60)
            one.hear(None, draw.uniform(0.0, 0.6))
            assert one.modes() != ON_AT_FIRST
            os.kill(one.child() if whom == "the drawing one" else one.pid, number)
            restored += one.restored()
        finally:
            one.close()
    print(
        json.dumps(
            {"test": "U13", "figure": f"{restored} of 50", "limit": "50 of 50", "pass": restored == 50}
        )
    )
    assert restored == 50


@pytest.mark.ci  # every day a result is drawn in its theme (test_console_screen)
def test_the_pis_own_screen_is_sent_nothing_outside_its_code_page(tmp_path: Path) -> None:
    one = Terminal(["console", "--socket", str(tmp_path / "none")], term="linux")
    try:
        assert one.hear(b"daemon", 60)
        one.hear(None, 0.3)
        os.write(one.fd, b"/")
        assert one.hear(b"All keys", 60)
        os.kill(one.pid, signal.SIGTERM)
        assert one.exit_code() == 0
        one.hear(None, 0.1)
        text = re.sub(
            r"\x1b(\[[0-?]*[ -/]*[@-~]|[()][A-Z0-9]|[P\]][^\x07\x1b]*(\x07|\x1b\\)|[=>78])",
            "",
            one.heard.decode("utf-8"),
        )
        text.replace("\r", "").replace("\n", "").encode("cp437")
        assert "\x1b" not in text
        assert termios.tcgetattr(one.hold) == one.before
    finally:
        one.close()


def test_without_a_terminal_it_says_so(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bench.cli", "console", "--socket", str(tmp_path / "none")],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        start_new_session=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 2
    assert "needs a terminal" in done.stderr and len(done.stderr.strip().splitlines()) == 1
