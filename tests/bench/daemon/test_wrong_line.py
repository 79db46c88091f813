"""The right cable at the wrong speed or parity: what a UART would hear of it, bit by bit, through real pseudo-terminals.

The receiver is that of any UART's manual: a falling edge begins a character, each bit is taken in its middle, and the
stop bit has to be high. Where it is low, Linux hands the character on as it was, or leaves it out, as the port is set
(termios(3): INPCK, IGNPAR); both are tried.
"""

from __future__ import annotations

import asyncio
import time
from itertools import groupby
from pathlib import Path

import pytest
from encoders import make_encoder
from hypothesis import given
from hypothesis import strategies as st

from bench.daemon import instrument_health
from bench.daemon.acquisition import Batch, Instrument
from bench.protocol import GetStatus, StatusReply
from bench.settings.settings_file import PortSettings
from hw.virtual.ptys import VirtualPort
from tests.bench.daemon.conftest import hear_state


def levels_of(data: bytes, bits: int = 8, parity: str = "N") -> list[int]:
    """The line in each bit time of the sender, one stop bit; at rest it is high."""
    out = [1] * 15
    for byte in data:
        own = [byte >> place & 1 for place in range(bits)]
        check = {"N": [], "E": [sum(own) % 2], "O": [1 - sum(own) % 2]}[parity]
        out += [0, *own, *check, 1]
    return out + [1] * 30


def heard(levels: list[int], sent: float, listening: float, *, leave_out: bool = False) -> bytes:
    """What a UART at `listening` baud, 8N1, makes of a line sent at `sent` baud. leave_out: framing errors."""
    step = sent / listening  # the sender's bit times in one of ours
    out = bytearray()
    at = 0.0
    while True:
        begun = next(
            (k for k in range(max(1, int(at) + 1), len(levels)) if not levels[k] and levels[k - 1]), None
        )
        if begun is None:
            return bytes(out)
        taken = [levels[min(int(begun + (n + 0.5) * step), len(levels) - 1)] for n in range(10)]
        if taken[9] or not leave_out:
            out.append(sum(bit << n for n, bit in enumerate(taken[1:9])))
        at = begun + 9.5 * step


@given(st.binary(max_size=40), st.floats(0.97, 1.03))
def test_at_its_own_speed_every_byte_is_heard_as_it_was(data: bytes, off: float) -> None:
    """Also three in a hundred off, which any UART bears."""
    assert heard(levels_of(data), 9600 * off, 9600) == data


@given(
    st.binary(min_size=1, max_size=40).map(lambda data: bytes(b & 0x7F for b in data)), st.sampled_from("EO")
)
def test_seven_bits_and_parity_are_eight_bits_with_the_parity_on_top(data: bytes, parity: str) -> None:
    odd = {"E": 0, "O": 1}[parity]
    want = bytes(b | ((b.bit_count() + odd) % 2) << 7 for b in data)
    assert heard(levels_of(data, 7, parity), 9600, 9600) == want


class Line:
    """An instrument of the daemon on a pseudo-terminal, sent what a UART makes of good lines."""

    def __init__(self, folder: Path) -> None:
        self.cable = VirtualPort("cable", folder / "cable", float, lambda mm: b"", 0.0)
        self.cable.plug()
        self.values: list[float] = []
        self.states: list[str] = []
        self.encode = make_encoder("line", {"resolution": "0.001 mm"})
        self.instrument = Instrument(
            "indicator", PortSettings(str(self.cable.path)), self._batch, self._state
        )
        self.instrument.start()
        self._n = 0

    def _batch(self, instrument: Instrument, batch: Batch) -> None:
        self.values += batch.values

    def _state(self, instrument: Instrument) -> None:
        self.states.append(instrument.state)

    async def until(self, state: str, spoil=lambda data: data) -> None:
        end = time.monotonic() + 60.0
        while self.instrument.state != state:
            assert time.monotonic() < end, (self.states, self.instrument.remark, self.values[-5:])
            self._n += 1
            self.cable.send(spoil(self.encode(2.5 + 0.001 * (self._n % 40))))
            await asyncio.sleep(0.01)
            self.instrument.tick(time.monotonic())

    async def stop(self) -> None:
        await self.instrument.stop()
        self.cable.unplug()


@pytest.fixture
async def line(tmp_path: Path):
    one = Line(tmp_path)
    yield one
    await one.stop()


WRONG = {
    "half the speed": lambda data: heard(levels_of(data), 9600, 4800),
    "half the speed, errors left out": lambda data: heard(levels_of(data), 9600, 4800, leave_out=True),
    "twice the speed": lambda data: heard(levels_of(data), 4800, 9600),
    "twice the speed, errors left out": lambda data: heard(levels_of(data), 4800, 9600, leave_out=True),
    "a twelfth of the speed": lambda data: heard(levels_of(data), 115_200, 9600),
    "eight times the speed": lambda data: heard(levels_of(data), 1200, 9600),
    "7E1 as 8N1": lambda data: heard(levels_of(data, 7, "E"), 9600, 9600),
    "7O1 as 8N1": lambda data: heard(levels_of(data, 7, "O"), 9600, 9600),
}


EVERY_DAY = {"half the speed", "7E1 as 8N1"}


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param(w, id=name, marks=[] if name in EVERY_DAY else pytest.mark.ci)
        for name, w in WRONG.items()
    ],
)
async def test_a_wrong_speed_or_parity_is_said_and_heals(line, wrong, monkeypatch) -> None:
    monkeypatch.setattr(instrument_health, "SILENT_S", 0.4)  # s of what never ends, before it is said
    await line.until("open")
    good, rejects = len(line.values), line.instrument.rejects
    assert rejects == 0
    await line.until("garbled", wrong)
    assert line.instrument.remark.code == "instrument-garbled"
    assert len(line.values) == good  # nothing of it passed for a reading
    await line.until("open")
    await line.until("garbled", wrong)
    # a busy machine may be silent in between
    states = [state for state, _ in groupby(one for one in line.states if one != "silent")]
    assert states[-3:] == ["garbled", "open", "garbled"]
    assert line.instrument.rejects > rejects
    assert len(line.values) > good


@pytest.mark.ci
def test_the_daemon_says_that_a_cable_is_read_at_the_wrong_speed(rigs, run, wire) -> None:
    rig = rigs()
    rig.spoil = lambda name, data: heard(levels_of(data), 9600, 4800) if name == "indicator" else data
    run("daemon").hear("ready")
    client = wire()

    def told() -> dict:
        return {i.name: i for i in client.ask(GetStatus(), StatusReply).instruments}

    hear_state(client, "indicator", "garbled")
    now = told()["indicator"]
    assert "Check baud rate, parity and format" in now.words
    assert now.readings == 0 and now.value is None
    assert told()["travel"].state == "open"  # the other is read all the while
    rig.spoil = lambda name, data: data
    hear_state(client, "indicator", "open")
    now = told()["indicator"]
    assert now.value == pytest.approx(rig.reading(), abs=0.001)
    assert now.rejects > 0
