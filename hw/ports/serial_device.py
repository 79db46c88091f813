"""A port of pyserial, as it is opened, asked for its descriptor, and closed."""

from __future__ import annotations

import contextlib
import fcntl
import select
import termios
import threading
from typing import Any

from hw.discovery.holders import is_pseudo
from hw.port_names import PortOptions, closed_port
from hw.timeouts import DEVICE_READ_S


def open_device(options: PortOptions, timeout: float = DEVICE_READ_S) -> Any:
    """Open it for this process alone. timeout: s that a read or a write waits.

    Raises what `closed_port` raises, and whatever the handlers of pyserial's URLs do.
    """
    opened = closed_port(
        options.port,
        baudrate=options.baud,
        bytesize=options.bits,
        parity=options.parity,
        stopbits=options.stop,
        timeout=timeout,
    )
    with contextlib.suppress(AttributeError, ValueError):
        opened.exclusive = True
    if options.dtr is not None:
        opened.dtr = options.dtr
    if options.rts is not None:
        opened.rts = options.rts
    opened.open()
    fd = descriptor(opened)
    if fd is not None and not is_pseudo(fd):
        # exclusive=True is only an advisory lock: a program that does not ask for it
        # would still open the port and steal bytes from us. A pseudo-terminal stays
        # free: no modem manager probes those, and the program at its other end may have
        # to open this end too.
        with contextlib.suppress(OSError):
            fcntl.ioctl(fd, termios.TIOCEXCL)
    return opened


def descriptor(opened: object) -> int | None:
    """The file descriptor of an open port; None for a URL that has none."""
    try:
        fd = opened.fileno()  # type: ignore[attr-defined]
    except (AttributeError, OSError, NotImplementedError, ValueError):
        return None
    return fd if isinstance(fd, int) and fd >= 0 else None


def unread(fd: int) -> bool:
    """Whether bytes wait to be read."""
    poll = select.poll()
    poll.register(fd, select.POLLIN)
    return any(event & select.POLLIN for _, event in poll.poll(0))


def is_writable(opened: object) -> bool:
    """False for a remote port whose other end reads nothing: a write would block."""
    remote = getattr(opened, "_socket", None)
    return remote is None or bool(select.select((), (remote,), (), 0)[1])


def close_device(opened: object | None) -> None:
    """Close an open port without waiting and without an error; None is none."""
    if opened is None:
        return
    fd = descriptor(opened)
    if fd is not None:
        # a close waits up to half a minute for what was written and is not read
        with contextlib.suppress(OSError, termios.error):
            termios.tcflush(fd, termios.TCOFLUSH)
    # a remote port waits for the other computer, up to some seconds
    if "://" in str(getattr(opened, "port", "")):
        threading.Thread(target=_close, args=(opened,), daemon=True).start()
    else:
        _close(opened)


def _close(opened: object) -> None:
    with contextlib.suppress(Exception):
        opened.close()  # type: ignore[attr-defined]
