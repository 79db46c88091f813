"""What the doctor makes of readings that come and are not well: mixed channels, counts, held displays, error words."""

from __future__ import annotations

import os
import threading
import tty
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from bench.doctor import instruments, machine
from bench.doctor.diagnostic import ListeningOptions
from bench.doctor.rights import User
from bench.doctor.stream_figures import stream_figures
from bench.protocol import GetStatus, StatusReply
from bench.settings.settings_file import PortSettings
from hw.formats.modbus_rtu import crc16

ANN = User("ann", False, frozenset(), frozenset())


def faults(matters: list) -> str:
    return " | ".join(f"{m.words} -> {m.advice}" for m in matters if m.good is False)


def test_channels_that_come_mixed(said) -> None:
    found = said(b"1 MW+003.4665 mm\r\n2 MW+001.4665 mm\r\n", options={"profile": "mux"}, profile="mux")
    assert "channels 1, 2 come mixed" in faults(found) and "channel = 1" in faults(found)
    assert not any("scatters" in m.words for m in found)  # two gauges are no noise


def test_counts_without_a_travel_for_each(said) -> None:
    found = said(b"X1234;", name="travel", options={"profile": "bridge_counts"}, profile="bridge_counts")
    assert "per_count" in faults(found)


def test_counts_with_it_are_readings(said) -> None:
    found = said(
        b"X1234;",
        name="travel",
        options={"profile": "bridge_counts"},
        profile="bridge_counts",
        per_count=0.005,
    )
    assert found[0].good is True and "fastest_push" in found[1].figures
    assert "per_count" not in faults(found)


def test_gauge_and_travel_on_one_port_are_heard_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    over = threading.Event()
    body = "BRG,1,1000,400,+0012.345mm"
    line = f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode()

    def speak() -> None:
        while not over.wait(0.02):
            os.write(master, line)

    thread = threading.Thread(target=speak)
    thread.start()
    port = PortSettings(port=os.ttyname(slave), profile="bridge", options={"profile": "bridge"})
    counted = PortSettings(port=port.port, profile="bridge", options=port.options, per_count=0.005)
    try:
        found = instruments.diagnose_ports(
            [("indicator", port), ("travel", counted)], [], ANN, ListeningOptions(2.0, "mm", seconds=0.3)
        )
    finally:
        over.set()
        thread.join()
        os.close(master), os.close(slave)
    assert [m.about for m in found if m.good] == ["indicator", "travel"], found
    assert not faults(found)


def test_a_held_display(said) -> None:
    found = said(b"M+ 1.234M  \n", options={"profile": "mode_letter"}, profile="mode_letter")
    assert "hold, max" in faults(found) and "off on the instrument" in faults(found)


def test_an_instrument_that_says_it_has_no_reading(said) -> None:
    found = said(b"ERR0\r")
    assert len(found) == 1 and "sensor_error" in faults(found) and "display" in faults(found)


def test_registers_are_asked_for(said) -> None:
    body = bytes.fromhex("01030400002710")
    found = said(b"", answers=body + crc16(body), format="modbus_rtu")
    assert found[0].good is True, found
    assert not faults(found)


def test_silence_though_asked(said) -> None:
    (one,) = said(b"", format="modbus_rtu")
    assert one.good is None and "though it was asked" in one.words and "address" in one.advice


def test_a_keyboard_is_not_opened_as_a_port(tmp_path: Path) -> None:
    device = tmp_path / "event-kbd"
    device.touch()
    wired = [
        ("caliper", PortSettings(port=str(device), format="wedge")),
        ("indicator", PortSettings(port="/dev/input/by-id/nothing-event-kbd", format="wedge")),
    ]
    here, gone = instruments.diagnose_ports(wired, [], ANN, ListeningOptions(2.0, "mm"))
    assert here.good is None and "start the daemon" in here.advice
    assert gone.good is False and "/dev/input/by-id" in gone.advice


def test_what_is_too_slow_for_the_spacing_is_a_fault_with_ways_out() -> None:
    (one,) = stream_figures("travel", 3.1, [], ListeningOptions(2.0, "mm"))
    assert one.good is False and one.figures["fastest_push"] == pytest.approx(6.2)
    assert "marks" in one.advice and "--spacing" in one.advice
    (one,) = stream_figures("travel", 8.4, [], ListeningOptions(2.0, "mm"))
    assert one.good is None and one.figures["fastest_push"] == pytest.approx(16.8) and one.advice
    (one,) = stream_figures("travel", 50.0, [], ListeningOptions(2.0, "mm"))
    assert one.good is None and one.figures["fastest_push"] == pytest.approx(100)
    moving = [0.1 * k for k in range(20)]
    (one,) = stream_figures("travel", None, moving, ListeningOptions(2.0, "mm"))
    assert "moved" in one.words and not one.figures


def test_push_speed_is_for_what_is_pushed() -> None:
    (one,) = stream_figures("caliper", 8.4, [], ListeningOptions(2.0, "mm"), swept=False)
    assert one.good is None and one.words == "8.4 readings a second"
    (one,) = stream_figures("indicator", 8.4, [], ListeningOptions(2.0, "mm"))
    assert "no faster than 17 mm a second" in one.words
    (one,) = stream_figures("indicator", 8.4, [], ListeningOptions(25.4, "inch"))
    assert "no faster than 8.4 in a second" in one.words
    (one,) = stream_figures("travel", 49.97, [], ListeningOptions(2.0, "mm"))
    assert "no faster than 100 mm a second" in one.words
    (one,) = stream_figures("indicator", None, [1.0] * 10, ListeningOptions(2.0, "mm"))
    assert one.words == "at rest it does not change at all"


def test_a_log_that_is_a_folder(tmp_path: Path) -> None:
    (one, *_) = machine.diagnose_disk(tmp_path)
    assert one.good is False and "is a folder" in one.words and "sweepgauge.db" in one.advice


@pytest.mark.ci  # test_doctor asks a daemon every day
def test_through_the_daemon_a_held_display_is_told_too(rigs, run, tmp_path: Path, monkeypatch) -> None:
    from bench.doctor import running_daemon
    from bench.protocol.client import WireClient

    monkeypatch.setattr(running_daemon, "LISTEN", 0.5)
    rig = rigs()
    text = (tmp_path / "settings.toml").read_text()
    (tmp_path / "settings.toml").write_text(
        text.replace("resolution", 'profile = "mode_letter"\nresolution', 1)
    )
    rig.sends = False
    over = threading.Event()

    def speak() -> None:
        while not over.wait(0.02):
            rig.send("indicator", b"A+ 1.234M  \n")
            rig.send("travel", b"ERR3\r")

    run("daemon").hear("ready")
    thread = threading.Thread(target=speak)
    thread.start()
    try:
        with WireClient(tmp_path / "socket") as client:
            found = list(running_daemon.diagnose_daemon(client, {}, ListeningOptions(2.0, "mm", seconds=0.5)))
            status = client.ask(GetStatus(), StatusReply)
    finally:
        over.set()
        thread.join()
    assert "in a mode (hold)" in faults(found)
    assert "past the end of its range" in faults(found)
    by_name = {one.name: one for one in status.instruments}
    assert by_name["indicator"].spoiled == "hold" and "Switch that off" in by_name["indicator"].words
    assert by_name["travel"].state == "no-reading" and "end of its range" in by_name["travel"].words
