"""One serial port that is listened to before it is known what hangs on it.

A thread opens it once, finds out by listening how it speaks, then reads it; what it
hears comes on the event loop. Nothing is ever sent.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable
from typing import Any

from bench.daemon.acquisition import Instrument
from bench.daemon.serial_places import Place, short_name
from bench.procedure.status_message import StatusMessage
from bench.protocol import Cable
from hw.discovery.holders import holders_of, is_pseudo
from hw.discovery.listening import Listening, Proposal, listen, open_line
from hw.formats import FORMATS, make_decoder
from hw.patience import LISTENER_END_S, SILENT_S
from hw.port_names import NotAPort

FRESH = 1.5  # s that a reading is told as the present one
GARBLED = 8  # rejects in a row: it was not understood after all


class _Stopped(OSError):
    """The port is to be let go."""


class PortListener:
    """One port that is listened to. `heard(self, stamps, values)` on the loop, for each
    block with readings."""

    def __init__(
        self,
        place: Place,
        heard: Callable[[PortListener, list[float], list[float]], None],
    ) -> None:
        self.place = place
        self.state = "listening"
        self.remark = StatusMessage("cable-listening")
        self.proposal: Proposal | None = None
        self.unit: str = "mm"
        self.value: float | None = None
        self.last: float | None = None
        self.lost = False  # it must be opened anew
        self._interval: float | None = None
        self._heard = heard
        self._loop = asyncio.get_running_loop()
        self._stop, self._ended = threading.Event(), asyncio.Event()
        threading.Thread(
            target=self._work, name=f"listen {place.name}", daemon=True
        ).start()

    async def stop(self) -> None:
        """After this the port is free, and nothing more is heard of it."""
        self._stop.set()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ended.wait(), LISTENER_END_S)

    def tick(self, now: float) -> None:
        usual = self._interval
        if (
            self.state == "reads"
            and self.last is not None
            and usual is not None
            and usual < 1.0
        ):
            if now - self.last > max(SILENT_S, 5 * usual):
                self.state, self.remark = "silent", StatusMessage("cable-asleep")
        elif (
            self.state == "silent"
            and self.last is not None
            and now - self.last < SILENT_S
        ):
            self.state, self.remark = "reads", self._spoken()

    def said(self, now: float) -> Cable:
        return Cable(
            port=self.place.name,
            name=short_name(self.place.name),
            state=self.state,
            remarks=[self.remark],
            value=self.value,
            unit=self.unit,
            age=None if self.last is None else age_told(now - self.last),
        )

    # ---- in the thread ---------------------------------------------------------------

    def _work(self) -> None:
        try:
            self._listen()
        except _Stopped:
            pass
        except Exception as error:
            # pyserial's back-ends raise whatever theirs raise; the port is gone or was
            # never one
            self._tell(self._could_not, error)
        finally:
            self._tell(self._ended.set)

    def _listen(self) -> None:
        device = self.place.device
        is_device = device.startswith("/") and not is_pseudo(device)
        if is_device and (holders := holders_of(device)):
            held = StatusMessage("cable-held", {"holders": ", ".join(holders)})
            self._tell(self._become, "busy", held, True)
            return
        with open_line(self.place.name, 9600) as line:
            while True:
                heard = listen(_Watched(line, self._stop))
                if (proposal := heard.proposal) is None:
                    self._tell(self._become, *_not_heard(heard))
                else:
                    first = heard.heard.get(int(proposal.settings["baud"]), b"")
                    self._read(line, proposal, first)

    def _read(self, line: Any, proposal: Proposal, first: bytes) -> None:
        """Until it is not understood any more."""
        settings = proposal.settings
        line.baudrate = int(settings["baud"])
        line.bytesize, line.stopbits = (
            int(settings.get("bits", 8)),
            int(settings.get("stop", 1)),
        )
        name = str(settings["format"])
        options = {
            key: settings[key] for key in FORMATS[name].option_names if key in settings
        }
        many = proposal.readings >= 3
        decoder = make_decoder(name, options, from_middle=many)
        self._tell(self._understood, proposal)
        bad = 0
        # one line, sent by hand, is the reading; a stream goes on anyway
        data = first if not many else b""
        while True:
            if self._stop.is_set():
                raise _Stopped
            if not data:
                data = line.read(1) + line.read(line.in_waiting or 0)
            records = decoder.feed(data) if data else []
            data = b""
            good = [record for record in records if record.value is not None]
            rejects = sum(record.fault is not None for record in records)
            bad = 0 if good else bad + rejects
            if good:
                values = [record.value for record in good if record.value is not None]
                self._tell(self._arrived, time.monotonic(), values, good[-1].unit)
            if bad >= GARBLED:
                self._tell(self._become, "listening", StatusMessage("cable-changed"))
                return

    def _tell(self, call: Callable[..., None], *arguments: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is gone
            self._loop.call_soon_threadsafe(call, *arguments)

    # ---- on the loop -----------------------------------------------------------------

    def _become(self, state: str, remark: StatusMessage, lost: bool = False) -> None:
        self.state, self.remark, self.lost = state, remark, lost
        if state != "reads":
            self.value = self.last = None

    def _could_not(self, error: Exception) -> None:
        number = getattr(error, "errno", None)
        if isinstance(error, NotAPort):
            self._become(
                "away", StatusMessage("cable-no-port", {"why": str(error)}), True
            )
        elif number in {13, 1}:
            self._become("denied", StatusMessage("cable-denied"), True)
        elif number in {16, 11}:
            self._become("busy", StatusMessage("cable-busy"), True)
        else:
            self._become("away", StatusMessage("cable-gone"), True)

    def _understood(self, proposal: Proposal) -> None:
        self.proposal = proposal
        self._interval = None
        self._become("reads", self._spoken())

    def _spoken(self) -> StatusMessage:
        assert self.proposal is not None
        s = self.proposal.settings
        line = {"format": s.get("profile", s["format"]), "baud": s["baud"]}
        if "bits" in s:
            return StatusMessage("cable-reads-seven", line)
        if "parity7" in s:
            return StatusMessage("cable-reads-parity", {**line, "parity": s["parity7"]})
        return StatusMessage("cable-reads", line)

    def _arrived(self, now: float, values: list[float], unit: str) -> None:
        if self._stop.is_set():
            return
        if self.last is not None:
            gap = (now - self.last) / len(values)
            self._interval = (
                gap
                if self._interval is None
                else self._interval + (gap - self._interval) / 8
            )
        span = 0.0 if self.last is None else min(0.1, now - self.last)
        stamps = [
            now - span * (len(values) - 1 - n) / len(values) for n in range(len(values))
        ]
        self.value, self.unit, self.last = values[-1], unit, now
        self._heard(self, stamps, values)


def age_told(seconds: float) -> float:
    """Fresh, or whole seconds: what only gets older is not told ten times a second."""
    return 0.0 if seconds < FRESH else float(int(seconds))


def wired_cable(one: Instrument) -> Cable:
    said = one.said()
    state = {
        "open": "reads",
        "absent": "away",
        "garbled": "unknown",
        "flooding": "unknown",
    }.get(said.state, said.state)
    age = None if said.age is None else age_told(said.age)
    port = one.settings.port
    return Cable(
        port,
        short_name(port),
        state,
        said.words,
        said.value,
        said.unit,
        age,
        role=one.role,
    )


def _not_heard(heard: Listening) -> tuple[str, StatusMessage]:
    if heard.silent:
        return "silent", StatusMessage("cable-silent")
    if heard.text_at is not None:
        return "unknown", StatusMessage("cable-text", {"baud": heard.text_at})
    return "unknown", StatusMessage("cable-unknown")


class _Watched:
    """A line that stops being read when it is to be let go."""

    def __init__(self, line: Any, stop: threading.Event) -> None:
        self._line, self._stop = line, stop

    @property
    def baudrate(self) -> int:
        return int(self._line.baudrate)

    @baudrate.setter
    def baudrate(self, speed: int) -> None:
        self._line.baudrate = speed

    def read(self, size: int, /) -> bytes:
        if self._stop.is_set():
            raise _Stopped
        data: bytes = self._line.read(size)
        return data

    def reset_input_buffer(self) -> None:
        self._line.reset_input_buffer()
