"""Instruments that do more than send: registers that answer, keys that are typed, a wheel on two pins.

Twins of what `hw.ports.registers`, `hw.ports.typed_keys` and `hw.ports.clocked_pins` read.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Mapping
from typing import Any

from hw.formats import make_encoder
from hw.formats.modbus_rtu import request
from hw.ports.typed_keys import CODES, EVENT

from .ptys import Port

_BY_NAME = {name: code for code, name in CODES.items()} | {"KEY_A": 30}


def key_events(names: bytes) -> bytes:
    """A line of key names (see format `wedge`) -> the kernel's events: press, report, release, report."""
    out = b""
    for name in names.decode().split():
        for value in (1, 0):
            out += EVENT.pack(0, 0, 1, _BY_NAME[name], value) + EVENT.pack(0, 0, 0, 0, 0)
    return out


class RegisterDevice:
    """A device at the far end of a port that answers when its own registers are asked for, and else is silent."""

    def __init__(self, port: Port, options: Mapping[str, Any] | None = None) -> None:
        """Made on the event loop; port: plugged in."""
        given = {"address": 1, "register": 0, "function": 3, **(options or {})}
        self.mm = 0.0
        self.answers, self.echoes, self.spoils = True, False, False
        self._port = port
        self._asked = request(given["address"], given["register"], given["function"])
        self._encode = make_encoder("modbus_rtu", {k: v for k, v in given.items() if k != "register"})
        self._heard = b""
        self._loop = asyncio.get_running_loop()
        self._watch()

    def _watch(self) -> None:
        self._fd = self._port._master
        self._loop.add_reader(self._fd, self._readable)

    def unplug(self) -> None:
        self._loop.remove_reader(self._fd)
        self._port.unplug()

    def plug(self) -> None:
        self._port.plug()
        self._heard = b""
        self._watch()

    def close(self) -> None:
        self._loop.remove_reader(self._fd)

    def _readable(self) -> None:
        try:
            self._heard += os.read(self._fd, 256)
        except BlockingIOError:
            return
        except OSError:  # nobody has the other end open; look again a little later
            self._loop.remove_reader(self._fd)
            self._loop.call_later(0.02, self._again, self._fd)
            return
        while self._asked in self._heard:
            self._heard = self._heard[self._heard.index(self._asked) + len(self._asked) :]
            if not self.answers:
                continue
            answer = bytes.fromhex(self._encode(self.mm).decode())
            if self.spoils:
                answer = answer[:4] + bytes([answer[4] ^ 1]) + answer[5:]
            self._port.send((self._asked if self.echoes else b"") + answer)
        self._heard = self._heard[-len(self._asked) :]

    def _again(self, fd: int) -> None:
        if fd == self._port._master:
            with contextlib.suppress(OSError, ValueError):
                self._loop.add_reader(fd, self._readable)


class Wheel:
    """An encoder's two outputs on mock pins of gpiozero; `to` turns it edge by edge."""

    _STATES = (0, 2, 3, 1)  # 2A + B on the way up

    def __init__(self, factory: Any, a: int, b: int) -> None:
        self.counts = 0
        self._pins = (factory.pin(a), factory.pin(b))
        self._show()

    def to(self, counts: int) -> None:
        way = 1 if counts > self.counts else -1
        while self.counts != counts:
            self.counts += way
            self._show()

    def _show(self) -> None:
        state = self._STATES[self.counts % 4]
        for pin, level in zip(self._pins, (state >> 1, state & 1), strict=True):
            (pin.drive_high if level else pin.drive_low)()
