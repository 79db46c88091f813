"""The terminal is left as it was found, whatever becomes of the screen, killed ones
included.

Two processes: the first holds nothing but the terminal's state and waits; its child is
the screen. A dead child is cleaned up after by the parent; a child whose parent died
cleans up after itself. Only where both are killed at the same moment `reset` has to be
typed. Standard library only, and little of it: the parent stays small.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import termios
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

# leave the other screen, show the cursor, plain ink, no mouse, no focus and paste
# reports, plain keys
RESTORE = (
    b"\x1b[?1049l\x1b[?25h\x1b[0m\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?1015l\x1b[?1016l"
    b"\x1b[?1004l\x1b[?2004l\x1b[?2026l\x1b[?2048l\x1b[<u\x1b[?7h\x1b[?1l\x1b>"
)
CONSOLE = (
    # the Pi's own screen knows few of those; what it does not know it prints
    b"\x1b[?25h\x1b[0m\x1b[?7h"
)
PASSED_ON = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGQUIT)


class NoTerminal(Exception):
    """There is no terminal to draw on; the message says what to do."""


def guarded(screen: Callable[[], None]) -> int:
    """Run `screen` in a child, wait, put the terminal back. The exit status. Raises
    NoTerminal.

    Where another driver than the terminal's is named (a browser's, say) there is no
    terminal to look after.
    """
    if os.environ.get("TEXTUAL_DRIVER"):
        screen()
        return 0
    try:
        terminal = os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY | os.O_CLOEXEC)
        before = termios.tcgetattr(terminal)
    except (OSError, termios.error) as error:
        raise NoTerminal(
            "the screen needs a terminal; scripts have `sweepgauge watch` and"
            " `sweepgauge status`"
        ) from error
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        os.close(terminal)
        raise NoTerminal("the screen needs the terminal both ways; do not redirect it")
    alive, mine = os.pipe()  # the parent's end closes by itself when the parent dies
    child = os.fork()
    if child == 0:
        os.close(mine)
        _child(screen, terminal, before, alive)
    os.close(alive)
    return _parent(child, terminal, before)


def _child(
    screen: Callable[[], None], terminal: int, before: list[Any], alive: int
) -> None:
    status = 1
    threading.Thread(
        target=_orphaned, args=(alive, terminal, before), daemon=True
    ).start()
    try:
        screen()
        status = 0
    except SystemExit as error:
        status = error.code if isinstance(error.code, int) else 1
    except BaseException as error:
        import traceback

        put_back(terminal, before)
        traceback.print_exception(error)
    finally:
        with contextlib.suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)


def _orphaned(alive: int, terminal: int, before: list[Any]) -> None:
    """Waits in a thread of its own: the read ends when the parent is gone, and then so
    does the screen."""
    with contextlib.suppress(OSError):
        while os.read(alive, 1):
            pass
    put_back(terminal, before)
    os._exit(1)


def _parent(child: int, terminal: int, before: list[Any]) -> int:
    def on(number: int, frame: FrameType | None) -> None:
        del frame
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, number)

    for number in PASSED_ON:
        signal.signal(number, on if number != signal.SIGINT else signal.SIG_IGN)
    while True:
        try:
            _, status = os.waitpid(child, 0)
            break
        except InterruptedError:
            continue
    code = os.waitstatus_to_exitcode(status)
    if code != 0:
        put_back(terminal, before)
    os.close(terminal)
    return code if code >= 0 else 128 - code


def put_back(terminal: int, before: list[Any]) -> None:
    """The terminal as it was found. A shell that has taken it over meanwhile keeps its
    own modes."""
    signals: list[tuple[int, Any]] = []
    if threading.current_thread() is threading.main_thread():
        signals.append((signal.SIGTTOU, signal.signal(signal.SIGTTOU, signal.SIG_IGN)))
    with contextlib.suppress(OSError, termios.error):
        os.write(terminal, CONSOLE if os.environ.get("TERM") == "linux" else RESTORE)
        if os.tcgetpgrp(terminal) == os.getpgrp():
            termios.tcsetattr(terminal, termios.TCSAFLUSH, before)
    for number, handler in signals:
        signal.signal(number, handler)
