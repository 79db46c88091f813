"""The serial ports of this machine: their lasting names and their devices."""

from __future__ import annotations

import glob
import os
import re
import shlex
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from bench.doctor.ports import FOLDERS, find_ports

LONGEST_NAME = 24  # characters of a port's name on the screen
MOST_NAMES = 32  # ports that are listened to at once
ENVIRONMENT = "SWEEPGAUGE_PORTS"


class Place(NamedTuple):
    """A port: the name that stays, for the settings, and the device that it is now."""

    name: str
    device: str


Places = Callable[[], list[Place]]


def places(environ: Mapping[str, str] = os.environ) -> list[Place]:
    """Every serial port there is, by its stable name where it has one.

    SWEEPGAUGE_PORTS names more, parted by blanks: paths, patterns with *, URLs of
    pyserial.
    """
    out = {
        str(found.device): Place(found.name, str(found.device))
        for found in find_ports()
    }
    for device in _devices():
        out.setdefault(device, Place(device, device))
    for word in shlex.split(environ.get(ENVIRONMENT, "")):
        for name in [word] if "://" in word else sorted(glob.glob(word)):
            device = name if "://" in name else os.path.realpath(name)
            out.setdefault(device, Place(name, device))
    return [*out.values()][:MOST_NAMES]


def _devices() -> list[str]:
    """What the kernel calls serial ports, without the one on which its own
    console is."""
    from serial.tools.list_ports import comports

    try:
        console = Path("/sys/class/tty/console/active").read_text().split()
    except OSError:
        console = []
    return [port.device for port in comports() if Path(port.device).name not in console]


def short_name(name: str) -> str:
    """What tells a cable from another, without the folder."""
    short = name
    for folder in FOLDERS:
        short = short.removeprefix(f"/dev/{folder}/")
    if short == name and name.startswith("/"):
        short = Path(name).name
    short = re.sub(r"(-if\d+)?(-port\d+)?$", "", short.removeprefix("usb-"))
    return (
        short if len(short) <= LONGEST_NAME else f"..{short[2 - LONGEST_NAME :]}"
    )  # its number is at its end
