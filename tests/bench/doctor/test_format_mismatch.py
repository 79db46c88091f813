"""What the doctor makes of an instrument that it cannot read: pins, keys, another speed, and one that must be asked."""

from __future__ import annotations

import os
import termios
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from bench.doctor import instruments, silent_instrument
from bench.doctor.diagnostic import ListeningOptions
from bench.doctor.format_mismatch import diagnose_bytes, diagnose_frames
from bench.doctor.observation import Observation
from bench.doctor.rights import User
from bench.doctor.silent_instrument import ask_at_other_speeds, silence_advice
from bench.settings.settings_file import PortSettings
from hw.discovery.listening import recognise
from hw.discovery.serial_cables import SerialCable
from hw.formats.modbus_rtu import crc16
from hw.formats.shared.line_splitter import with_parity

PINS = {"data": 5, "clock": 6}
ANN = User("ann", False, frozenset(), frozenset())


def test_bits_that_are_not_read_are_not_taken_for_a_number_on_a_serial_line() -> None:
    """101101001101... is the published word of 12.34 mm behind a transistor a line."""
    port = PortSettings(format="sync24", pins=PINS)
    found = diagnose_frames(
        "indicator", port, b"101101001101111111111111\n" * 10, Counter({"an unused bit": 9})
    )
    assert found.proposal == {"format": "sync24", "invert": True, "edge": "falling"}
    assert "baud" not in found.advice and "invert = true" in found.advice and "display" in found.advice
    assert found.words.startswith("pins data 5, clock 6: ") and "an unused bit, 9 times" in found.evidence
    wheel = diagnose_frames(
        "travel", PortSettings(format="quad_x4", pins={"a": 23, "b": 24}), b"0?2\n", Counter()
    )
    assert "slower" in wheel.advice and wheel.proposal is None
    assert diagnose_frames("indicator", port, b"", Counter()).good is False


def test_a_cable_that_ends_with_another_key() -> None:
    port = PortSettings(port="/dev/input/by-id/usb-0003-event-kbd", format="wedge")
    found = diagnose_frames("caliper", port, b"KEY_1 KEY_DOT KEY_5 KEY_TAB\n" * 3, Counter())
    assert found.proposal == {"terminator": "TAB"}
    found = diagnose_frames("caliper", port, b"KEY_CODE30 KEY_CODE48 KEY_ENTER\n" * 3, Counter())
    assert found.proposal is None and "keyboard" in found.advice


@pytest.mark.parametrize(
    ("port", "says"),
    [
        (PortSettings(format="sync52", pins={**PINS, "req": 13}), "timeout = 2.5"),
        (PortSettings(format="sync24", pins=PINS), "clock and ground"),
        (PortSettings(port="/dev/input/x", format="wedge"), "by-id"),
        (PortSettings(port="/dev/x", asking="button"), "--seconds 15"),
        (PortSettings(port="/dev/x"), "request"),
    ],
)
def test_what_to_do_about_silence_goes_with_the_wiring(port: PortSettings, says: str) -> None:
    assert says in silence_advice(port, asks=False)


def test_of_one_held_by_the_daemon_other_speeds_want_the_daemon_stopped() -> None:
    port = PortSettings(port="/dev/x", request="?\r")
    assert "stop the daemon" in silence_advice(port, True, held=True) and "stop" not in silence_advice(
        port, True
    )


# ---- one that must be asked, at another speed --------------------------------------------------------

SPEEDS = {getattr(termios, f"B{speed}"): speed for speed in (1200, 2400, 4800, 9600, 19200, 38400, 57600)}


class Asked:
    """Answers what it understands: at its own speed, and with its own parity where it minds that."""

    def __init__(self, speed: int, question: bytes, answer: bytes) -> None:
        self.master, slave = os.openpty()
        self.name = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.speed, self.question, self.answer = speed, question, answer
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        heard = b""
        while not self._over.wait(0.005):
            try:
                asked = os.read(self.master, 256)
            except OSError:
                continue  # nobody has it open, or nothing came
            if SPEEDS.get(termios.tcgetattr(self.master)[4]) != self.speed:
                heard = b""
                continue
            heard += asked
            if self.question in heard:
                heard = b""
                os.write(self.master, self.answer)

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        os.close(self.master)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Asked]]:
    monkeypatch.setattr("hw.discovery.listening.TURN_S", 0.6)
    monkeypatch.setattr("hw.discovery.listening.SILENCE_S", 0.6)
    made: list[Asked] = []
    yield lambda *args: made.append(Asked(*args)) or made[-1]
    for one in made:
        one.close()


def test_one_that_is_asked_is_found_at_its_own_speed(asked) -> None:
    gauge = asked(4800, b"?\r", b"+0012.345\r")
    wired = [("indicator", PortSettings(port=gauge.name, request="?\r"))]
    (found,) = instruments.diagnose_ports(wired, [], ANN, ListeningOptions(2.0, "mm", seconds=0.2))
    assert found.good is False and "does not answer at 9600 baud" in found.words
    assert found.proposal == {"format": "line", "profile": "plain", "baud": 4800, "default_unit": "mm"}


@pytest.mark.ci
def test_one_that_wants_parity_in_what_it_is_asked_is_given_it(asked) -> None:
    """CR is 0x0d: three ones, so that even parity makes it 0x8d; `?` is 0x3f, six ones, and stays."""
    assert with_parity(b"?\r", "even") == b"?\x8d"
    gauge = asked(4800, b"?\x8d", with_parity(b"+0012.345\r", "even"))
    wired = [("indicator", PortSettings(port=gauge.name, request="?\r"))]
    (found,) = instruments.diagnose_ports(wired, [], ANN, ListeningOptions(2.0, "mm", seconds=0.2))
    assert found.proposal == {
        **{"format": "line", "profile": "plain", "baud": 4800, "default_unit": "mm"},
        "parity7": "even",
    }


def test_a_framing_that_the_port_does_not_take_is_a_fault_and_no_crash(said, no_parity) -> None:
    (found,) = said(b"+1.234 mm\r\n", bits=7, parity="E")
    assert found.good is False and "does not take 9600 baud 7E1" in found.words and "parity7" in found.words


def test_registers_at_another_speed(asked, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        silent_instrument, "ANSWER", 0.4
    )  # s; at few speeds, so that a busy machine has the time to answer
    monkeypatch.setattr(silent_instrument, "SPEEDS", (9600, 19200))
    body = bytes.fromhex("01030400002710")
    device = asked(19200, bytes.fromhex("010300000002c40b"), body + crc16(body))
    found = ask_at_other_speeds(PortSettings(port=device.name, format="modbus_rtu"))
    assert found is not None and found.settings == {"baud": 19200, "parity": "none"}
    device.question = b"nothing"
    assert ask_at_other_speeds(PortSettings(port=device.name, format="modbus_rtu")) is None


# ---- text of no known shape, a board that carries a gauge --------------------------------------------


def test_text_at_another_speed_is_shown_and_that_speed_proposed(
    rigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At a wrong speed a capture would be of no use to anybody."""
    from hw.discovery.listening import ListeningResult

    heard = ListeningResult({9600: b"\xf0\x8a" * 20, 19200: b"POS=+012.345,T=21.5\r\n" * 5}, None, 19200)
    data = b"\xf0\x8a" * 20
    found = diagnose_bytes("indicator", PortSettings(port="/dev/x"), Observation(data, data), heard)
    assert (
        found.proposal == {"baud": 19200}
        and "POS=+012.345" in found.words
        and "write baud = 19200" in found.advice
    )
    monkeypatch.setattr(instruments, "listen", lambda line: heard)
    rig = rigs()
    cable = SerialCable(Path(os.path.realpath(rig.names["travel"])), (Path(rig.names["travel"]),))
    (found,) = instruments.diagnose_cable(cable, ANN)
    assert (
        found.proposal == {"port": rig.names["travel"], "baud": 19200}
        and "sweepgauge capture" in found.advice
    )


@pytest.mark.ci
def test_beside_a_daemon_too_a_cable_that_no_settings_name_is_listened_to(
    rigs, run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one that the daemon has is left alone; the other one is heard."""
    from click.testing import CliRunner

    from bench.cli.doctor import doctor

    rig = rigs()
    text = (tmp_path / "settings.toml").read_text()
    (tmp_path / "settings.toml").write_text(text.replace("[travel]", "[unused]").split("[unused]")[0])
    run("daemon").hear("ready")
    found = [SerialCable(Path(os.path.realpath(name)), (Path(name),)) for name in rig.names.values()]
    monkeypatch.setattr("bench.doctor.examination.find_cables", lambda: found)
    monkeypatch.setattr("bench.doctor.running_daemon.LISTEN", 0.3)
    monkeypatch.setattr("bench.doctor.diagnostic.LISTEN", 0.3)
    where = ["--socket", str(tmp_path / "socket"), "--settings", str(tmp_path / "settings.toml")]
    said = CliRunner().invoke(doctor, [*where, "--log", str(tmp_path / "log.db")]).output
    assert "good  indicator:" in said
    assert said.count("an instrument speaks there that the settings do not name") == 1
    assert f'port = "{rig.names["travel"]}"; format = "line"' in said


def sentence(number: int, gauge: str) -> bytes:
    body = f"BRG,{number},{1000 * number},{number},{gauge}"
    return f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode()


def test_the_gauge_behind_a_board_is_proposed_too() -> None:
    """2D4000 is 010010110010000000000000, the published word of 12.34 mm, four bits a digit."""
    data = b"".join(sentence(n, "2D4000" if n % 4 == 0 else "") for n in range(1, 30))
    found = recognise(data)
    assert found is not None and found.settings["gauge"] == "sync24" and found.rejects == 0


def test_between_the_words_of_its_gauge_a_board_lacks_nothing(said) -> None:
    both = b"".join(sentence(n, "2D4000" if n % 4 == 0 else "") for n in range(1, 9))
    options = {"profile": "bridge", "gauge": "sync24"}
    found = said(both, options=options, profile="bridge")
    assert found[0].good is True and not any(matter.good is False for matter in found), found
    found = said(sentence(1, ""), options=options, profile="bridge")
    assert any(matter.good is False and "no gauge is heard" in matter.words for matter in found)
