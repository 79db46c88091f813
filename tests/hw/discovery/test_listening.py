"""Listening, on lines that are sampled bit by bit as a UART does, through real pseudo-terminals.

The receiver here: a falling edge starts a character, each bit is taken at its middle, a stop bit that is low is a
framing error, which a Linux terminal without INPCK passes on as the bits were (termios(3)); then the line must be
high before the next edge counts.
"""

from __future__ import annotations

import contextlib
import os
import termios
import threading
import tty
from collections.abc import Callable, Iterator

import pytest
from encoders import make_encoder
from hypothesis import given
from hypothesis import strategies as st

from hw.discovery.listening import listen, open_line, parity_of, recognise, settings_text
from hw.formats import make_decoder

BAUD = {
    getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdigit()
}


def sent_levels(data: bytes, bits: int, parity: str, stop: int) -> list[int]:
    """The line's level in each bit time of the sender; idle is high."""
    levels = [1] * 12
    for byte in data:
        own = [byte >> place & 1 for place in range(bits)]
        check = {"N": [], "E": [sum(own) % 2], "O": [1 - sum(own) % 2]}[parity]
        levels += [0, *own, *check, *[1] * stop]
    return levels + [1] * 12


def heard_bytes(levels: list[int], speed: int, listening: int, bits: int = 8) -> bytes:
    """What a UART at `listening` baud, `bits` bits, no parity makes of levels sent at `speed` baud."""
    ratio = speed / listening  # bit times of the sender in one of the receiver
    out = bytearray()
    at = 0.0

    def level(when: float) -> int:
        return levels[int(when)] if when < len(levels) else 1

    while True:
        place = int(at)
        while place < len(levels) and not (
            levels[place] == 0 and (place == 0 or levels[place - 1] == 1 or place > at)
        ):
            place += 1
        if place >= len(levels):
            return bytes(out)
        start = max(float(place), at)
        byte = sum(level(start + (1.5 + n) * ratio) << n for n in range(bits))
        out.append(byte)
        at = start + (1.5 + bits) * ratio
        while int(at) < len(levels) and level(at) == 0:
            at = int(at) + 1.0


class Wire:
    """An instrument that sends in its own framing; the reader gets what its own settings make of that."""

    def __init__(
        self, encode: Callable[[float], bytes], speed: int, bits: int = 8, parity: str = "N", stop: int = 1
    ):
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.name = os.ttyname(self.slave)
        self._encode, self._speed, self._framing = encode, speed, (bits, parity, stop)
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        os.set_blocking(self.master, False)
        mm = 2.5
        while not self._end.wait(0.03):
            mm += 0.001
            levels = sent_levels(self._encode(round(mm, 3)), *self._framing)
            set_to = BAUD[termios.tcgetattr(self.slave)[5]]  # the reader's own setting
            with contextlib.suppress(OSError):
                os.write(self.master, heard_bytes(levels, self._speed, set_to))

    def close(self) -> None:
        self._end.set()
        self._thread.join()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def wires() -> Iterator[Callable[..., Wire]]:
    made: list[Wire] = []

    def make(*args: object, **kept: object) -> Wire:
        made.append(Wire(*args, **kept))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for wire in made:
        wire.close()


def test_the_receiver_is_right_where_the_speeds_agree() -> None:
    data = b"+0012.345 mm\r\n"
    assert heard_bytes(sent_levels(data, 8, "N", 1), 9600, 9600) == data
    assert heard_bytes(sent_levels(data, 8, "N", 2), 9600, 9600) == data
    # the manual's case: even parity turns CR into 0x8d, LF stays
    assert heard_bytes(sent_levels(b"\r\n", 7, "E", 1), 9600, 9600) == b"\x8d\x0a"
    assert all(byte & 0x80 for byte in heard_bytes(sent_levels(data, 7, "N", 2), 2400, 2400))
    assert heard_bytes(sent_levels(data, 8, "N", 1), 4800, 9600) != data


CASES = {
    "8N1": ({"profile": "plain"}, 9600, 8, "N", 1, {"profile": "plain", "baud": 9600}),
    "4800 7E2": (
        {"profile": "plain", "send_unit": False},
        4800, 7, "E", 2,
        {"profile": "plain", "baud": 4800, "parity7": "even", "default_unit": "mm"},
    ),
    "2400 7N2": (
        {"profile": "mode_letter"},
        2400, 7, "N", 2,
        {"profile": "mode_letter", "baud": 2400, "bits": 7, "stop": 2},
    ),
    "19200 7O1": ({"profile": "plain"}, 19200, 7, "O", 1, {"profile": "plain", "baud": 19200, "parity7": "odd"}),
    "115200": ({"profile": "bridge"}, 115200, 8, "N", 1, {"profile": "bridge", "baud": 115200}),
}  # fmt: skip


@pytest.mark.parametrize("case", ["8N1", "4800 7E2", pytest.param("2400 7N2", marks=pytest.mark.slow),
                                  pytest.param("19200 7O1", marks=pytest.mark.slow),
                                  pytest.param("115200", marks=pytest.mark.slow)])  # fmt: skip
def test_speed_framing_and_profile_are_found_on_a_real_terminal(wires, case: str) -> None:
    options, speed, bits, parity, stop, wanted = CASES[case]
    wire = wires(make_encoder("line", options), speed, bits, parity, stop)
    with open_line(wire.name, 9600) as line:
        found = listen(line, 9600)
    assert found.proposal is not None, found.heard
    assert wanted.items() <= found.proposal.settings.items()
    assert found.proposal.readings >= 3 and found.proposal.rejects == 0
    assert f"{speed} baud" in found.proposal.evidence[0]


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("listening", [9600, 4800, 2400, 19200, 115200])
def test_a_wrong_speed_is_never_proposed(case: str, listening: int) -> None:
    options, speed, bits, parity, stop, wanted = CASES[case]
    encode = make_encoder("line", options)
    lines = b"".join(
        heard_bytes(sent_levels(encode(round(2.5 + 0.001 * n, 3)), bits, parity, stop), speed, listening)
        for n in range(8)
    )
    found = recognise(lines, listening)
    if listening == speed:
        assert found is not None and wanted.items() <= found.settings.items()
        # and what is proposed reads
        settings = {k: v for k, v in found.settings.items() if k not in {"format", "baud", "bits", "stop"}}
        heard = lines if "bits" not in found.settings else bytes(byte & 0x7F for byte in lines)
        assert any(r.value is not None for r in make_decoder("line", settings).feed(heard))
    else:
        assert found is None, found


def test_silence_is_told_soon() -> None:
    class Silent:
        baudrate = 0
        now = 0.0

        def read(self, size: int) -> bytes:
            self.now += 0.06
            return b""

        def reset_input_buffer(self) -> None:
            pass

    line = Silent()
    found = listen(line, 4800, clock=lambda: line.now)
    assert found.silent and found.proposal is None
    assert line.now < 2.0 and list(found.heard) == [4800]


def test_rubbish_at_every_speed_ends_and_proposes_nothing() -> None:
    class Rubbish:
        baudrate = 0
        now = 0.0

        def read(self, size: int) -> bytes:
            self.now += 0.06
            return bytes((int(self.now * 1000) * k * 37 + self.baudrate) % 256 for k in range(40))

        def reset_input_buffer(self) -> None:
            pass

    line = Rubbish()
    found = listen(line, clock=lambda: line.now)
    assert found.proposal is None and not found.silent
    assert len(found.heard) == 10 and line.now < 14.0


def test_one_line_from_a_button_is_evidence() -> None:
    found = recognise(b"+ 2.1380, MM\r\n")
    assert found is not None and found.readings == 1
    assert recognise(b"2.1380, MM and more\r\n") is None
    assert recognise(b"") is None


def test_what_is_yours_to_say_is_said() -> None:
    found = recognise(b"+0012345\r" * 5)
    assert found is not None and "decimals" in found.settings
    assert any("decimals it means is yours" in words for words in found.evidence)
    found = recognise(b"1 MW+003.4665 inch\r\n2 MW-00088.29 mm\r\n" * 3)
    assert found is not None and found.settings["profile"] == "mux"
    assert any("channels 1, 2" in words for words in found.evidence)
    found = recognise(b"X1234;Y-5;" * 4)
    assert found is not None and found.settings["profile"] == "bridge_counts"
    assert any("per_count" in words for words in found.evidence)


def test_a_proposal_can_be_pasted() -> None:
    import tomllib

    for line in (b"01A+00.12345\r", b"+1.250 mm>\r"):
        found = recognise(line * 4)
        assert found is not None
        text = settings_text(found.settings).replace("; ", "\n")
        assert tomllib.loads(text) == found.settings
    assert found.settings["judged"] is True


@given(st.binary(max_size=400))
def test_whatever_is_heard_is_judged(data: bytes) -> None:
    found = recognise(data)
    assert found is None or found.readings > 0
    assert parity_of(data) in {None, "even", "odd", "mark"}


def test_a_whole_that_holds_more_than_readings_is_not_taken_for_one_press_of_a_button() -> None:
    assert recognise(b"1.234 mm\r1.235 mm\r") is not None
    assert recognise(b"1.234 mm\r1.235 mm\rERR0\r") is None
