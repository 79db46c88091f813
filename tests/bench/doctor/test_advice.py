"""What the doctor says where a user stood before it and was told nothing, too little or the wrong thing."""

from __future__ import annotations

import os
import stat
import threading
import time
import tty
from collections import Counter
from pathlib import Path

import pytest

from bench.doctor import instruments, rights
from bench.doctor.diagnostic import ListeningOptions
from bench.doctor.observation import Observation, diagnose_no_reading, diagnose_observation
from bench.doctor.rights import User
from bench.doctor.stream_figures import stream_figures
from bench.settings.settings_file import PortSettings, load
from hw.formats.modbus_rtu import crc16
from hw.formats.shared.line_splitter import with_parity

ANN = User("ann", False, frozenset(), frozenset())


def text(matters: list) -> str:
    return " | ".join(f"{m.words} -> {m.advice} {m.evidence}" for m in matters)


def test_a_number_without_a_unit_is_said_to_be_read_as_mm(said) -> None:
    """An inch indicator would be read as mm: nothing in its bytes tells, so the user has to."""
    (one,) = [m for m in said(b"+0000.0486\r") if "no unit" in m.words]
    assert one.good is None and "as mm" in one.words and 'default_unit = "in"' in one.advice
    (one,) = [m for m in said(b"+0.0486\r", options={"default_unit": "in"}) if "no unit" in m.words]
    assert "as inch" in one.words and not one.advice  # its owner has said so


def test_rejected_lines_say_why(said) -> None:
    found = text(said(b"+1.234 mm\r\n+1.2.3 mm\r\n+1.235 mm\r\n"))
    assert "were rejected" in found and "1.2.3" in found


@pytest.mark.parametrize("parity", [None, "even"])
def test_an_echo_is_no_trouble(said, parity: str | None) -> None:
    """Even parity makes a CR 0x8d, which is no blank any more."""
    answers = with_parity(b"?\r+1.234 mm\r\n", parity)
    options = {} if parity is None else {"parity7": parity}
    found = said(b"", answers=answers, request="?\r", asking="request", options=options)
    assert "repeats what it is asked" in text(found)
    assert not any(m.advice for m in found)


def test_a_wrong_checksum_or_address_is_named(said) -> None:
    body = bytes.fromhex("01030400002710")
    wrong = bytes((crc16(body)[0] ^ 1, crc16(body)[1]))
    assert "CRC" in text(said(b"", answers=body + wrong, format="modbus_rtu"))
    other = bytes.fromhex("09030400002710")
    (one,) = said(b"", answers=other + crc16(other), format="modbus_rtu")
    assert "address 9" in str(one.evidence) and one.proposal == {"address": 9} and "address = 9" in one.advice


def test_words_that_come_the_other_way_round_are_suspected(said) -> None:
    body = bytes.fromhex("01030427100000")  # 10000 in the first register
    found = said(b"", answers=body + crc16(body), format="modbus_rtu")
    (one,) = [m for m in found if m.proposal]
    assert one.good is None and one.proposal == {"words": "lo_hi"}
    body = bytes.fromhex("01030400002710")
    assert not any(m.proposal for m in said(b"", answers=body + crc16(body), format="modbus_rtu"))


@pytest.mark.parametrize(
    ("status", "what"), [("exception_2", "register"), ("gauge_error", "channel"), ("sensor_error", "slowly")]
)
def test_what_an_error_means_and_what_to_do(status: str, what: str) -> None:
    found = diagnose_no_reading("indicator", "port", Observation(statuses=Counter({status: 3})))
    assert status in found.words and what in found.advice


def test_gauges_that_do_not_answer_their_box_are_named_beside_those_that_do(said) -> None:
    lines = b"1 MW+0001.234 mm\r\n2 MW+0002.234 mm\r\n3 TO 999999.99 mm\r\n"
    found = text(said(lines, profile="mux", options={"profile": "mux"}))
    assert "channels 1, 2 come mixed" in found and "3 has no gauge that answers" in found
    assert "in between" not in found


def test_the_push_speed_is_told_to_whoever_asks_for_it() -> None:
    (one,) = stream_figures("indicator", 8.4, [], ListeningOptions(2.0, "mm", True), swept=False)
    assert "no faster than 17 mm a second" in one.words
    (one,) = stream_figures("indicator", 1.0, [], ListeningOptions(2.0, "mm", True), swept=False)
    assert one.good is None  # no fault at marks


def test_a_file_is_no_port(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for name, says in (("file", "a file"), ("", "a folder")):
        wired = [("indicator", PortSettings(port=str(tmp_path / name)))]
        (one,) = instruments.diagnose_ports(wired, [], ANN, ListeningOptions(2.0, "mm"))
        assert one.good is False and f"is {says}, not a serial port" in one.words
        assert "/dev/serial/by-id" in one.advice


def test_nobody_is_sent_into_a_group_that_may_not_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "port"
    path.touch()
    monkeypatch.setattr(os, "access", lambda *_: False)
    path.chmod(stat.S_IRUSR | stat.S_IWUSR)
    refused = rights.may_open(path, ANN)
    assert refused is not None and "adduser" not in refused.advice and "rules" in refused.advice
    path.chmod(0o660)
    monkeypatch.setattr(rights, "group_of", lambda _: "root")
    refused = rights.may_open(path, ANN)
    assert refused is not None and "adduser" not in refused.advice
    monkeypatch.setattr(rights, "group_of", lambda _: "dialout")
    refused = rights.may_open(path, ANN)
    assert refused is not None and refused.advice.startswith("sudo adduser ann dialout")


def test_a_button_is_waited_for(said) -> None:
    (one,) = said(b"", asking="button")
    assert "--seconds" in one.advice and "request" not in one.advice
    (one,) = said(b"")
    assert "request" in one.advice


def test_its_own_faults_are_not_counted_twice() -> None:
    heard = Observation(statuses=Counter({"sensor_error": 1}), values=[1.0], times=[0.0], readings=1)
    (one,) = diagnose_observation("indicator", PortSettings(), heard)
    assert "moved too fast" in one.words


@pytest.mark.ci
def test_through_the_daemon_a_wrong_address_is_named_too(run, tmp_path: Path) -> None:
    """What the daemon hands on of registers are hexadecimal digits: no lines of text."""
    from bench.doctor import running_daemon
    from bench.protocol.client import WireClient

    body = bytes.fromhex("09030400002710")
    master, slave = os.openpty()
    tty.setraw(slave)
    (tmp_path / "settings.toml").write_text(
        f'[travel]\nport = "{os.ttyname(slave)}"\nformat = "modbus_rtu"\nscale_mm = 0.001\ngrows = "away"\n'
    )
    os.set_blocking(master, False)
    over = threading.Event()

    def speak() -> None:
        while not over.wait(0.01):
            try:
                os.read(master, 256)
                os.write(master, body + crc16(body))
            except OSError:
                continue

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        run("daemon").hear("ready")
        settings = load(tmp_path / "settings.toml")
        assert settings.travel is not None
        deadline = time.monotonic() + 60
        with WireClient(tmp_path / "socket") as client:
            while time.monotonic() < deadline:
                found = running_daemon.diagnose_daemon(
                    client, {"travel": settings.travel}, ListeningOptions(2.0, "mm", seconds=0.5)
                )
                proposed = [m for m in found if m.proposal]
                if proposed:
                    break
    finally:
        over.set()
        thread.join()
        os.close(master), os.close(slave)
    (one,) = proposed
    assert one.proposal == {"address": 9} and "lines of text" not in one.words


def test_numbers_beyond_the_range_are_not_called_a_wrong_format(said) -> None:
    (one,) = said(b"+1.234 mm\r\n", options={"range_mm": "0,1"})
    assert "beyond range_mm" in one.words and "wider" in one.advice and one.proposal is None


def test_what_is_in_the_way_of_a_proposal_is_said(said) -> None:
    (one,) = said(b"+1.234 mm\r\n", options={"parity7": "even"})
    assert "take out parity7" in one.advice
    (one,) = said(b"01A+00.12345\r", options={"default_unit": "in"})
    assert one.proposal["default_unit"] == "in"  # said by its owner, and not to be turned over by us
