"""The doctor names what is wrong and what to do, with a daemon and without; other machines are laid out as files."""

from __future__ import annotations

import contextlib
import json
import os
import random
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.cli.common import CommandError
from bench.cli.doctor import doctor
from bench.doctor import diagnostic, instruments, machine, pins, ports, rights, running_daemon
from bench.doctor.diagnostic import ListeningOptions
from bench.doctor.stream_figures import at_rest, rate_of
from bench.settings.settings_file import PanelSettings, PortSettings, Settings
from hw.discovery.serial_cables import SerialCable, find_cables


def matters(answer: dict, about: str) -> list[dict]:
    return [m for m in answer["matters"] if m["about"] == about]


def remedies(found) -> str:
    return " ".join(f"{m.words} | {m.advice}" for m in found if m.good is False)


# ---- as a user runs it ------------------------------------------------------------------------------


def test_without_a_daemon_it_listens(rigs, run) -> None:
    rig = rigs()
    began = time.monotonic()
    program = run("doctor", "--json", "--spacing", "1 mm")
    code = program.wait()
    sent = rig.lines / (time.monotonic() - began)
    answer = program.answer()
    indicator, rate, noise = matters(answer, "indicator")
    assert indicator["good"] is True and "readings in" in indicator["words"]
    # which is 100 a second, or fewer for a while where the machine is busy
    assert 0.5 * sent <= rate["figures"]["rate"] <= 1.5 * max(sent, 100.0)
    assert rate["figures"]["fastest_push"] == pytest.approx(rate["figures"]["rate"] * 1.0, rel=1e-3)
    assert noise["figures"] == {"noise": 0.0, "step": 0.0}  # a rig at rest does not change
    assert any("Sled big-sled" in m["words"] for m in matters(answer, "settings"))
    assert code == (0 if answer["good"] else 1)


@pytest.fixture
def look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The command in this process, listening for a shorter while; `saying` is sent to the rig meanwhile."""
    for name, file in (("SOCKET", "socket"), ("SETTINGS", "settings.toml"), ("LOG", "log.db")):
        monkeypatch.setenv(f"SWEEPGAUGE_{name}", str(tmp_path / file))
    monkeypatch.setattr(diagnostic, "LISTEN", 0.5)
    monkeypatch.setattr(running_daemon, "LISTEN", 0.5)
    monkeypatch.setattr("hw.discovery.listening.TURN_S", 0.3)
    monkeypatch.setattr("hw.discovery.listening.SILENCE_S", 0.5)

    def run(*args: str, rig=None, saying: dict[str, bytes] | None = None) -> tuple[int, str]:
        over = threading.Event()

        def speak() -> None:
            while not over.wait(0.02):
                for name, data in (saying or {}).items():
                    with contextlib.suppress(OSError):
                        rig.send(name, data)

        speaker = threading.Thread(target=speak)
        speaker.start()
        try:
            done = CliRunner().invoke(doctor, list(args), standalone_mode=False)
        finally:
            over.set()
            speaker.join()
        if done.exception is not None:
            raise done.exception
        return done.return_value, done.output

    return run


def test_a_missing_cable_and_what_fits_instead(rigs, look) -> None:
    """Even parity over seven bits, a profile that nobody named; and a cable that is not there."""
    rig = rigs()
    rig.unplug("travel")
    rig.sends = False
    even = bytes(byte | (byte.bit_count() % 2 << 7) for byte in b"01A+00.12345\r")
    code, said = look("--json", rig=rig, saying={"indicator": even})
    assert code == 1
    answer = json.loads(said)
    (travel,) = matters(answer, "travel")
    assert travel["good"] is False and "plugged in" in travel["do"]
    (indicator,) = matters(answer, "indicator")
    assert indicator["good"] is False
    assert indicator["proposal"] == {
        "format": "line",
        "profile": "code_channel_item",
        "baud": 9600,
        "parity7": "even",
        "default_unit": "mm",
    }
    assert any("even parity" in words for words in indicator["evidence"])
    assert "default_unit" in " ".join(indicator["evidence"])


def test_text_of_no_known_shape_is_said_to_be_text(rigs, look) -> None:
    rig = rigs()
    rig.sends = False
    code, said = look(rig=rig, saying={"indicator": b"%&/ what is this\r\n"})
    assert code == 1
    assert (
        "lines of text at 9600 baud" in said and "no profile reads" in said and "sweepgauge capture" in said
    )
    assert "travel is open" in said or "is open and silent" in said


def test_with_a_daemon_it_asks_and_listens_through_it(rigs, run, look) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    rig.sends = False
    code, said = look(rig=rig, saying={"indicator": b"01A+00.12345\r", "travel": b"+12.34 mm\r\n"})
    assert code == 1
    assert "good  daemon: sweepgauge" in said
    assert "good  log:" in said
    assert "good  travel:" in said
    assert "FAULT indicator:" in said and 'profile = "code_channel_item"' in said
    assert "heard: " in said and "stop the daemon" in said
    assert "1 fault found" in said.splitlines()[-1]


def test_wrong_settings_are_named(rigs, look, tmp_path) -> None:
    rigs()
    path = tmp_path / "settings.toml"
    path.write_text(path.read_text() + "\nnonsense = 1\n")
    code, said = look()
    assert code == 1 and "nonsense" in said and "mend it" in said
    assert "none is set up" not in said  # what is set up could not be read


def test_no_settings_no_hardware_and_a_socket_left_over(look, tmp_path) -> None:
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "socket"))
    _, said = look("--json")
    answer = json.loads(said)
    (nothing,) = matters(answer, "instruments")
    assert "demo" in nothing["do"]
    assert str(tmp_path / "settings.toml") in matters(answer, "settings")[0]["words"]  # where it would be
    (left,) = matters(answer, "socket")
    assert left["good"] is None and "left over" in left["words"]


@pytest.mark.parametrize("spacing", ["far", "0 mm"])
def test_wrong_use_is_one_line(look, spacing: str) -> None:
    with pytest.raises(CommandError, match="--spacing"):
        look("--spacing", spacing)


# ---- ports ------------------------------------------------------------------------------------------


@pytest.fixture
def dev(tmp_path: Path) -> Path:
    """Two cables without a serial number, which share one name by number; the last one plugged in has it."""
    folder = tmp_path / "dev"
    for name in ("serial/by-id", "serial/by-path"):
        (folder / name).mkdir(parents=True)
    for number in (0, 1):
        (folder / f"ttyUSB{number}").touch()
        (folder / f"serial/by-path/usb-socket-{number}").symlink_to(folder / f"ttyUSB{number}")
    (folder / "serial/by-id/usb-cheap-cable").symlink_to(folder / "ttyUSB1")
    return folder


def test_each_cable_is_found_once_under_its_best_name(dev: Path) -> None:
    found = find_cables(dev)
    assert [Path(cable.name).name for cable in found] == ["usb-socket-0", "usb-cheap-cable"]
    assert [len(cable.names) for cable in found] == [1, 2]
    said = list(ports.diagnose_cables(found, [("travel", PortSettings(port=found[1].name))]))
    assert any("it is the travel" in m.words for m in said)
    assert any("by its socket" in m.advice and "usb-socket-0" in m.advice for m in said)
    assert find_cables(dev / "nothing") == []


def test_a_name_that_will_not_last_is_a_fault(dev: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = [SerialCable(Path("/dev/ttyUSB7"), (Path("/dev/serial/by-id/usb-gauge"),))]
    said = list(ports.diagnose_cables(found, [("indicator", PortSettings(port="/dev/ttyUSB7"))]))
    assert 'write port = "/dev/serial/by-id/usb-gauge"' in remedies(said)


def test_the_console_on_the_header_and_a_modem_manager(tmp_path: Path) -> None:
    (tmp_path / "dev").mkdir()
    (tmp_path / "dev/ttyAMA0").touch()
    (tmp_path / "dev/serial0").symlink_to("ttyAMA0")
    (tmp_path / "proc/321").mkdir(parents=True)
    (tmp_path / "proc/321/comm").write_text("ModemManager\n")
    (tmp_path / "proc/cmdline").write_text("console=ttyAMA0,115200 console=tty1 root=/dev/sda\n")
    said = list(ports.diagnose_neighbours(tmp_path))
    assert "raspi-config" in remedies(said)
    assert any("modem manager" in m.words for m in said)
    (tmp_path / "proc/cmdline").write_text("console=tty1 root=/dev/sda\n")
    (tmp_path / "etc/udev/rules.d").mkdir(parents=True)
    (tmp_path / "etc/udev/rules.d/60-sweepgauge.rules").touch()
    assert list(ports.diagnose_neighbours(tmp_path)) == []
    kbd = tmp_path / "dev/input/by-id/usb-0003-event-kbd"
    kbd.parent.mkdir(parents=True)
    kbd.touch()
    (one,) = ports.diagnose_neighbours(tmp_path)
    assert "wedge" in one.words and "taken from the whole computer" in one.advice
    assert list(ports.diagnose_neighbours(tmp_path, named={str(kbd)})) == []


def test_a_holder_is_named(tmp_path: Path) -> None:
    from hw.discovery.holders import holders_of

    device = tmp_path / "tty"
    device.touch()
    with subprocess.Popen(
        [sys.executable, "-c", "import sys; f = open(sys.argv[1]); print('on', flush=True); input()", device],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as other:
        assert other.stdout is not None and other.stdout.readline() == b"on\n"
        (held,) = holders_of(device)
        assert f"process {other.pid}" in held
        other.communicate(b"\n")
    assert holders_of(device) == []


@pytest.mark.ci
def test_cables_that_the_settings_do_not_name_are_listened_to(
    rigs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One speaks, one is silent, one is held: what may be listened to is, and a line to paste comes of it."""
    monkeypatch.setattr("hw.discovery.listening.SILENCE_S", 0.3)
    rig = rigs()
    silent, slave = os.openpty()
    held = tmp_path / "held"
    held.touch()
    monkeypatch.setattr(
        instruments, "holders_of", lambda path: ["thief (process 9)"] if Path(path) == held else []
    )
    names = [Path(rig.names["travel"]), Path(os.ttyname(slave)), held]
    found = [SerialCable(Path(os.path.realpath(name)), (name,)) for name in names]
    wired = [("indicator", PortSettings(port=rig.names["indicator"]))]
    said = instruments.diagnose_ports(wired, found, user({"dialout"}), ListeningOptions(2.0, "mm"))
    os.close(silent), os.close(slave)
    assert [m.about for m in said if m.good] == ["indicator"]
    (speaks,) = (m for m in said if m.proposal)
    assert speaks.proposal == {
        "port": rig.names["travel"],
        "format": "line",
        "profile": "plain",
        "baud": 9600,
    }
    assert f'port = "{rig.names["travel"]}"' in speaks.advice and speaks.good is None
    assert any("silent" in m.words and "send button" in m.advice for m in said)
    assert not any(str(held) in m.words for m in said)


def test_a_wired_port_that_is_held_or_pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held = tmp_path / "held"
    held.touch()
    monkeypatch.setattr(instruments, "holders_of", lambda path: ["thief (process 9)"])
    wired = [
        ("indicator", PortSettings(port=str(held))),
        ("travel", PortSettings(format="sync24", pins={"data": 5, "clock": 6})),
        ("caliper", PortSettings(port="/dev/null")),
    ]
    thief, on_pins, nothing = instruments.diagnose_ports(
        wired, [], user({"dialout"}), ListeningOptions(2.0, "mm")
    )
    assert thief.good is False and "thief (process 9)" in thief.words
    assert on_pins.good is None and "pins" in on_pins.words
    assert nothing.good is False and "/dev/null" in nothing.words


# ---- rights -----------------------------------------------------------------------------------------

KNOWN = frozenset({"dialout", "gpio", "input"})
WANTS = {"dialout": "serial ports"}


def user(groups: set[str], listed: set[str] | None = None, root: bool = False) -> rights.User:
    return rights.User("ann", root, frozenset(groups), frozenset(listed if listed is not None else groups))


def test_the_exact_remedy_for_a_missing_group() -> None:
    (one,) = rights.diagnose_groups(user({"users"}), KNOWN, WANTS)
    assert one.good is False and one.advice == "sudo adduser ann dialout, then log out and in again"
    (one,) = rights.diagnose_groups(user({"users"}, {"users", "dialout"}), KNOWN, WANTS)
    assert one.good is False and "log out and in again" in one.advice and "adduser" not in one.advice
    (one,) = rights.diagnose_groups(user({"dialout"}), KNOWN, WANTS)
    assert one.good is True
    (one,) = rights.diagnose_groups(user(set()), frozenset(), WANTS)
    assert one.good is True  # a system without that group keeps nothing behind it
    (one,) = rights.diagnose_groups(user(set(), root=True), KNOWN, WANTS)
    assert one.good is None
    assert rights.this_user().name


# ---- machine ----------------------------------------------------------------------------------------


def test_the_clock(tmp_path: Path) -> None:
    assert machine.clock_synced() in {True, False, None}
    assert "1970" in remedies(machine.diagnose_clock(False, 3600.0, root=tmp_path))
    (one,) = machine.diagnose_clock(False, 1.9e9, root=tmp_path)
    assert one.good is None and "without power" in one.words
    (one,) = machine.diagnose_clock(True, 1.9e9, root=tmp_path)
    assert one.good is True


def test_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text("/dev/sda / ext4 rw 0 0\n")
    said = list(machine.diagnose_disk(tmp_path / "deep/er/log.db", mounts=mounts))
    assert [m.good for m in said] == [True] and str(tmp_path) in said[0].words
    really = os.statvfs(tmp_path)

    class Full:
        f_bavail, f_frsize, f_flag = 10, 4096, really.f_flag | os.ST_RDONLY

    monkeypatch.setattr(os, "statvfs", lambda path: Full)
    assert "read-only" in remedies(machine.diagnose_disk(tmp_path / "log.db", mounts=mounts))
    assert "make room" in remedies(machine.diagnose_disk(tmp_path / "log.db", mounts=mounts))


@pytest.mark.parametrize(
    ("mounts", "says"),
    [
        ("/dev/sda / ext4 rw 0 0\ntmpfs {at} tmpfs rw 0 0\n", "tmpfs"),
        (
            "overlay / overlay rw,lowerdir=/l,upperdir=/media/root-rw/upper,workdir=/w 0 0\n"
            "root-rw /media/root-rw tmpfs rw 0 0\n",
            "overlay",
        ),
        ("overlay / overlay rw,lowerdir=/l,upperdir=/var/lib/x/upper,workdir=/w 0 0\n", ""),
        ("/dev/sda / ext4 rw 0 0\n/dev/sdb {at} ext4 rw 0 0\n", ""),
    ],
)
def test_a_log_in_memory_is_told(tmp_path: Path, mounts: str, says: str) -> None:
    file = tmp_path / "mounts"
    file.write_text(mounts.format(at=str(tmp_path).replace(" ", "\\040")))
    forgets = machine._memory_of(tmp_path, file)
    assert (forgets is None) if not says else (forgets is not None and says in forgets)


def test_the_supply_and_the_air(tmp_path: Path) -> None:
    folder = tmp_path / "class/hwmon/hwmon1"
    folder.mkdir(parents=True)
    (folder / "name").write_text("rpi_volt\n")
    (folder / "in0_lcrit_alarm").write_text("1\n")
    assert "4.63 V" in remedies(machine.diagnose_power(tmp_path))
    (folder / "in0_lcrit_alarm").write_text("0\n")
    assert [m.good for m in machine.diagnose_power(tmp_path)] == [True]
    other = tmp_path / "class/hwmon/hwmon2"
    other.mkdir()
    for name, text in (("name", "sht3x"), ("temp1_input", "19500"), ("humidity1_input", "55100")):
        (other / name).write_text(text + "\n")
    (air,) = machine.diagnose_air(tmp_path)
    assert air.words == "19.5 C, 55 % humidity (sht3x)" and air.good is None
    for humidity in ("", "0"):  # it does not answer; and what the daemon does not believe
        (other / "humidity1_input").write_text(humidity)
        (air,) = machine.diagnose_air(tmp_path)
        assert air.words == "the sensor sht3x shows nothing that air can be" and air.good is False


def test_the_arithmetic_starts() -> None:
    (python,) = machine.diagnose_python()
    assert python.good and "numpy" in python.words


# ---- pins -------------------------------------------------------------------------------------------

WIRED = Settings(
    panel=PanelSettings(pedal=17), indicator=PortSettings(format="sync24", pins={"data": 5, "clock": 6})
)


def test_pins_are_looked_at_where_they_are_wired(tmp_path: Path) -> None:
    assert list(pins.diagnose_pins(Settings(), tmp_path)) == []
    assert "no pins" in remedies(pins.diagnose_pins(WIRED, tmp_path))
    (tmp_path / "gpiochip0").touch()
    said = list(pins.diagnose_pins(WIRED, tmp_path))
    assert any("3.3 V" in m.words for m in said)
    assert any("lgpio" in m.words for m in said)  # there or not, it is told


def test_pins_that_the_service_reads_are_no_fault_of_this_login(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found in the rig: the service read every pin, and doctor sent its caller to the group gpio."""
    (tmp_path / "gpiochip0").touch()
    monkeypatch.setattr(pins.os, "access", lambda path, mode: False)
    assert "adduser" not in remedies(pins.diagnose_pins(WIRED, tmp_path, ours=False))
    assert "adduser $USER gpio" in remedies(pins.diagnose_pins(WIRED, tmp_path))


# ---- streams ----------------------------------------------------------------------------------------


def test_noise_step_and_rate_are_those_of_the_stream() -> None:
    draw = random.Random(1)
    values = [round(2.5 + draw.gauss(0, 0.004), 3) for _ in range(4000)]
    noise, step, drift = at_rest(values)
    assert noise == pytest.approx(0.004, rel=0.05) and step == pytest.approx(0.001)
    assert drift < noise
    assert rate_of([0.1 * k for k in range(11)]) == pytest.approx(10)
    assert rate_of([0.0, 1.0]) is None


def test_a_socket_of_another_group(tmp_path: Path) -> None:
    assert running_daemon.diagnose_socket(tmp_path / "none") is None
    (tmp_path / "file").touch()
    found = running_daemon.diagnose_socket(tmp_path / "file")
    assert found is not None and found.good is False
