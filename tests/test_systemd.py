"""What is installed beside the program: the unit, its user, the rule for cables; asked of systemd itself where it is.

The unit's life is tried without systemd too: what it hands to the daemon is handed over here.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent / "systemd"
UNIT = FOLDER / "sweepgauge.service"
USERS = FOLDER / "sweepgauge.sysusers.conf"
RULES = FOLDER / "60-sweepgauge.rules"
EXPOSURE = 1.0  # the most that may be open, of 10; serial ports and GPIO are allowed


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(shutil.which(program) is None, reason=f"{program} is not on this machine")


def analyze(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["systemd-analyze", *args], capture_output=True, text=True, check=False, timeout=60)


def exposure(unit: Path) -> float:
    done = analyze("security", "--offline=true", "--no-pager", str(unit))
    found = re.search(r"exposure level for .*: ([0-9.]+)", done.stdout)
    assert found is not None, done.stdout + done.stderr
    return float(found[1])


def settings_of(unit: str) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for line in unit.splitlines():
        key, equals, value = line.partition("=")
        if equals and not line.startswith("#"):
            out.setdefault(key, []).append(value)
    return out


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The unit with a program that exists, since verify looks for it."""
    text = UNIT.read_text().replace("/opt/sweepgauge/bin/sweepgauge", "/bin/true")
    copy = tmp_path / UNIT.name
    copy.write_text(text)
    return copy


@needs("systemd-analyze")
def test_the_unit_is_accepted(unit: Path) -> None:
    done = analyze("verify", "--man=no", str(unit))
    about_us = [line for line in done.stderr.splitlines() if UNIT.name in line]
    assert about_us == []
    unit.write_text(unit.read_text() + "\n[Service]\nWatchdogSecs=20\n")
    assert UNIT.name in analyze("verify", "--man=no", str(unit)).stderr  # the check can fail


@needs("systemd-analyze")
def test_the_unit_leaves_little_open(unit: Path) -> None:
    assert exposure(unit) <= EXPOSURE
    bare = unit.with_name("bare.service")
    bare.write_text("[Service]\nExecStart=/bin/true\nUser=nobody\n")
    assert exposure(bare) > 5  # and much would be


def test_what_the_hardware_needs_is_left_open() -> None:
    """systemd.exec(5) and systemd.resource-control(5) say what each of these takes away."""
    unit = settings_of(UNIT.read_text())
    assert "PrivateDevices" not in unit  # hides every terminal and pin
    assert (
        "ProcSubset" not in unit
    )  # hides the device tree, by which the board is told, and the boot's identity
    allowed = {line.split()[0] for line in unit["DeviceAllow"]}
    assert allowed >= {"char-ttyUSB", "char-ttyACM", "char-ttyAMA", "char-gpiochip"}
    # a driver's number is looked up when the unit starts: it must be loaded by then
    for module in ("usbserial", "cdc_acm"):
        assert any(f"modprobe@{module}.service" in line for line in unit["Wants"])
        assert any(f"modprobe@{module}.service" in line for line in unit["After"])
    assert unit["Type"] == ["notify"] and unit["WatchdogSec"] == ["20"]


@needs("systemd-sysusers")
@pytest.mark.skipif(os.geteuid() != 0, reason="systemd-sysusers sets owners, which only root may")
def test_the_user_and_every_group_of_the_unit_are_made(tmp_path: Path) -> None:
    (tmp_path / "etc").mkdir()
    done = subprocess.run(
        ["systemd-sysusers", f"--root={tmp_path}", str(USERS)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    users = (tmp_path / "etc/passwd").read_text()
    groups = {line.split(":")[0] for line in (tmp_path / "etc/group").read_text().splitlines()}
    unit = settings_of(UNIT.read_text())
    assert re.search(rf"^{unit['User'][0]}:.*:/var/lib/sweepgauge:.*nologin$", users, re.MULTILINE)
    assert groups >= {*unit["Group"], *unit["SupplementaryGroups"][0].split()}


MATCHES = r'(?:ACTION|SUBSYSTEM|KERNEL|SUBSYSTEMS|TEST|ENV\{[A-Z_]+\})(?:==|!=)"[^"]+"'
SETS = r'(?:ENV\{[A-Z_]+\}|ATTR\{[a-z_/]+\}|GROUP|MODE|GOTO|LABEL)="[^"]+"|SYMLINK\+="[^"]+"|IMPORT\{builtin\}="[^"]+"'


def test_the_rule_is_written_as_udev_reads_it() -> None:
    """udev(7): comma-separated keys, matches before what they set, every GOTO with its LABEL."""
    text = RULES.read_text()
    lines = [line.removeprefix("#") for line in text.splitlines() if line and not line.startswith("# ")]
    for line in lines:
        assert re.fullmatch(rf"(?:{MATCHES}|{SETS})(?:, (?:{MATCHES}|{SETS}))*", line), line
    assert set(re.findall(r'GOTO="(\w+)"', text)) == set(re.findall(r'LABEL="(\w+)"', text))
    assert 'ENV{ID_MM_DEVICE_IGNORE}="1"' in text and '{device/latency_timer}="1"' in text


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """Where the service manager would listen."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind(str(tmp_path / "notify"))
        channel.settimeout(15)
        yield channel


def test_the_daemon_lives_as_the_unit_promises(manager: socket.socket, tmp_path: Path) -> None:
    """Directories and mask as the unit has them; ready, alive, stopping as systemd wants to hear them."""
    unit = settings_of(UNIT.read_text())
    folders = {}
    for name in ("State", "Runtime", "Configuration"):
        folder = tmp_path / name.lower()
        folder.mkdir(mode=0o750)
        folders[f"{name.upper()}_DIRECTORY"] = str(folder)
        assert unit[f"{name}Directory"] == ["sweepgauge"]
    environment = dict(pair.split("=", 1) for pair in unit["Environment"][0].split())
    environment["LG_WD"] = folders["RUNTIME_DIRECTORY"]
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("SWEEPGAUGE_", "XDG_", "HOME"))}
    daemon = subprocess.Popen(
        [sys.executable, "-m", "bench.cli", "daemon"],
        env=kept
        | environment
        | folders
        | {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "200000", "INVOCATION_ID": "0"},
        umask=int(unit["UMask"][0], 8),
        stderr=subprocess.PIPE,
    )
    try:
        assert manager.recv(1000).startswith(b"READY=1")
        there = Path(folders["RUNTIME_DIRECTORY"]) / "socket"
        assert stat.S_IMODE(there.stat().st_mode) == 0o660  # in spite of the mask
        assert list(Path(folders["STATE_DIRECTORY"]).glob("*.db"))
        first = manager.recv(1000), time.monotonic()
        second = manager.recv(1000), time.monotonic()
        assert first[0] == second[0] == b"WATCHDOG=1"
        assert second[1] - first[1] < 0.2
        daemon.send_signal(signal.SIGTERM)
        while (said := manager.recv(1000)) == b"WATCHDOG=1":
            pass
        assert said == b"STOPPING=1"
        assert daemon.wait(5) == 0
    finally:
        daemon.kill()
        daemon.communicate()
