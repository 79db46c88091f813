"""States and sentences of ports that do not open, by the system's errors."""

from __future__ import annotations

import errno
import re
from collections.abc import Mapping

from hw.discovery.holders import holders_of
from hw.port_names import NotAPort
from hw.reading import PortState


def error_number(error: BaseException) -> int | None:
    """The errno of an error; pyserial quotes that of OSError and termios.error in its
    text."""
    number: int | None = getattr(error, "errno", None)
    if number is None:
        quoted = re.search(r"\[Errno (\d+)\]|\((\d+), '", str(error))
        number = int(quoted[1] or quoted[2]) if quoted else None
    return number


OpenFailure = tuple[PortState, str]  # a state and a sentence with the remedy
NOT_THERE: OpenFailure = ("absent", "{port} is not there: is the cable plugged in?")
NOT_ALLOWED: OpenFailure = (
    "denied",
    "{port} may not be opened: add this user to the group {group} and log in again.",
)
HELD_BY_OTHERS: OpenFailure = (
    "busy",
    "{port} is held by {holders}: close that program.",
)
NO_SERIAL_PORT: OpenFailure = (
    "absent",
    "{port} is not a serial port: name one under /dev/serial/by-id.",
)
# by errno
OPEN_ERRORS: dict[int | None, OpenFailure] = {
    errno.ENOENT: NOT_THERE,
    errno.ENODEV: NOT_THERE,
    errno.ENXIO: NOT_THERE,
    errno.EACCES: NOT_ALLOWED,
    errno.EPERM: NOT_ALLOWED,
    errno.EBUSY: HELD_BY_OTHERS,
    errno.EAGAIN: HELD_BY_OTHERS,
    errno.EINVAL: (
        "absent",
        "{port} does not take these settings of baud, bits, parity and stop; one that"
        ' knows no parity is read with bits = 8 and parity7 = "even" or "odd".',
    ),
    errno.ENOTTY: NO_SERIAL_PORT,
    errno.EISDIR: NO_SERIAL_PORT,
}


def open_error(
    port: str,
    error: Exception,
    group: str,
    known: Mapping[int | None, OpenFailure] = OPEN_ERRORS,
) -> OpenFailure:
    """A state and a sentence with the remedy for a device that does not open.

    group: whose members may open it. error: of the system, or whatever pyserial made of
    the system's. known: what errors of the system mean.
    """
    if isinstance(error, NotAPort):
        return "absent", f"{error}."
    if isinstance(error, ImportError):
        return (
            "absent",
            f"{port}: the library gpiod is not installed: pip install gpiod.",
        )
    if isinstance(error, ValueError):
        return (
            "absent",
            f"{port}: these settings of the port do not go together ({error}).",
        )
    state, words = known.get(
        error_number(error), ("absent", "{port} cannot be opened: {error}.")
    )
    by = ", ".join(holders_of(port)) if state == "busy" else ""
    holders = by or "another program"
    return state, words.format(port=port, group=group, holders=holders, error=error)
