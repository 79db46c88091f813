"""The state of a port, reported when it changes, and why a port does not open."""

from __future__ import annotations

import errno
import re
from collections.abc import Callable

from hw.discovery.holders import holders_of
from hw.port_names import NotAPort
from hw.reading import PortState


class StateReport:
    """Calls on_state with a state and its sentence, and never twice with the same."""

    def __init__(self, on_state: Callable[[PortState, str], None]) -> None:
        self._on_state = on_state
        self._last: tuple[PortState, str] | None = None

    def __call__(self, state: PortState, words: str) -> None:
        if (state, words) != self._last:
            self._last = (state, words)
            self._on_state(state, words)


def error_number(error: BaseException) -> int | None:
    """The errno of an error; pyserial quotes that of OSError and termios.error in its
    text."""
    number: int | None = getattr(error, "errno", None)
    if number is None:
        quoted = re.search(r"\[Errno (\d+)\]|\((\d+), '", str(error))
        number = int(quoted[1] or quoted[2]) if quoted else None
    return number


def may_not_open(where: str, group: str) -> tuple[PortState, str]:
    return (
        "denied",
        f"{where} may not be opened: add this user to the group {group} and log in"
        " again.",
    )


def open_error(port: str, error: Exception, group: str) -> tuple[PortState, str]:
    """A state and a sentence with the remedy for a device that does not open.

    group: whose members may open it. error: of the system, or whatever pyserial made of
    the system's.
    """
    if isinstance(error, NotAPort):
        return "absent", f"{error}."
    if isinstance(error, ValueError):
        return (
            "absent",
            f"{port}: these settings of the port do not go together ({error}).",
        )
    number = error_number(error)
    if number in {errno.ENOENT, errno.ENODEV, errno.ENXIO}:
        return "absent", f"{port} is not there: is the cable plugged in?"
    if number in {errno.EACCES, errno.EPERM}:
        return may_not_open(port, group)
    if number in {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}:
        by = ", ".join(holders_of(port)) or "another program"
        return "busy", f"{port} is held by {by}: close that program."
    if number == errno.EINVAL:
        return "absent", (
            f"{port} does not take these settings of baud, bits, parity and stop; one"
            " that knows no parity is read "
            f'with bits = 8 and parity7 = "even" or "odd".'
        )
    if number in {errno.ENOTTY, errno.EISDIR}:
        return (
            "absent",
            f"{port} is not a serial port: name one under /dev/serial/by-id.",
        )
    return "absent", f"{port} cannot be opened: {error}."
