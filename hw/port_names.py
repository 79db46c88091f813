"""Names and options of ports: which names are valid, and the pyserial port of one.

Every port is opened by its name through this module. pyserial knows more kinds of URL
than a gauge needs; one of them (`spy://`) writes to whatever file it names.
"""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING, Any, Literal
from urllib.parse import urlsplit

import msgspec

if TYPE_CHECKING:
    import serial

REMOTE = ("socket", "rfc2217")  # a serial port on another computer
# characters; the longest file name of Linux (NAME_MAX)
LONGEST_PATH = 255
FILE_KINDS = {stat.S_IFREG: "file", stat.S_IFDIR: "folder", stat.S_IFBLK: "disk"}
WOULD_DO = (
    "a device such as /dev/serial/by-id/..., socket://HOST:PORT or rfc2217://HOST:PORT"
    " would do"
)


class PortOptions(msgspec.Struct, frozen=True):
    """How a serial port is opened. port: a device path or a pyserial URL. settle: s of
    input to discard after opening, where opening resets the board. dtr, rts: None
    leaves the driver's default."""

    port: str = ""
    baud: int = 9600
    bits: int = 8
    parity: Literal["N", "E", "O", "M", "S"] = "N"
    stop: float = 1
    settle: float = 0.0
    dtr: bool | None = None
    rts: bool | None = None


class NotAPort(OSError):
    """The word names no port, or what is there under it is something else; nothing of
    it was opened."""

    def __init__(self, words: str) -> None:
        super().__init__(errno.ENOTTY, f"{words}; {WOULD_DO}")

    def __str__(self) -> str:
        return str(self.strerror)


def is_port_name(name: str) -> bool:
    """A full path, or a URL of a kind that reaches nothing but a port: `socket://`,
    `rfc2217://`, `loop://`."""
    if not name.isprintable() or len(name) > LONGEST_PATH:
        return False
    if name == "loop://":  # it returns what is sent; for tests
        return True
    if "://" not in name:
        return name.startswith("/")
    try:
        parts = urlsplit(name)
        whole = bool(parts.hostname and parts.port)
    except ValueError:  # no number for the port
        return False
    bare = not (
        parts.path.strip("/")
        or parts.fragment
        or (parts.query and parts.scheme == "socket")
    )
    return parts.scheme in REMOTE and whole and bare


def refuse_other_things(path: str) -> None:
    """NotAPort where a file, a folder or a device that is no terminal and no keyboard
    has that name.

    Looked at before it is opened, as some devices act on the opening alone (a watchdog
    starts to count). Where another takes its place meanwhile, asking the open one for a
    terminal's settings fails before anything is written.
    """
    there = os.stat(path)
    if not stat.S_ISCHR(there.st_mode):
        kind = FILE_KINDS.get(stat.S_IFMT(there.st_mode), "pipe or socket")
        raise NotAPort(f"{path} is a {kind}, not a serial port")
    number = f"{os.major(there.st_rdev)}:{os.minor(there.st_rdev)}"
    # a pseudo-terminal has no subsystem
    known = os.path.realpath(f"/sys/dev/char/{number}/subsystem")
    kind = os.path.basename(known)
    if os.path.isdir(known) and kind not in {"tty", "input"}:
        raise NotAPort(
            f"{path} is a device of another kind ({kind}), not a serial port"
        )


def closed_port(name: str, **options: Any) -> serial.SerialBase:
    """pyserial's object for that port, not yet open, with the options that it takes.

    Raises NotAPort, ValueError where the options do not go together, OSError where
    nothing is there.
    """
    import serial  # 30 ms; not needed where no port is configured

    if not is_port_name(name):
        raise NotAPort(f"{name[:LONGEST_PATH]!r} names no port")
    if name.startswith("/"):
        refuse_other_things(name)
    made: serial.SerialBase = serial.serial_for_url(name, do_not_open=True, **options)
    return made
