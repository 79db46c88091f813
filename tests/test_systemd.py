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


@needs("systemd-analyze")
def test_the_daily_review_is_accepted_and_may_touch_nothing(tmp_path: Path) -> None:
    for name in ("sweepgauge-review.service", "sweepgauge-review.timer", "sweepgauge.service"):
        text = (FOLDER / name).read_text().replace("/opt/sweepgauge/bin/sweepgauge", "/bin/true")
        (tmp_path / name).write_text(text)
    review = tmp_path / "sweepgauge-review.service"
    for unit in (review, tmp_path / "sweepgauge-review.timer"):
        done = analyze("verify", "--man=no", str(unit))
        assert [line for line in done.stderr.splitlines() if "review" in line] == []
    assert exposure(review) <= EXPOSURE
    assert analyze("calendar", settings_of(unit.read_text())["OnCalendar"][0]).returncode == 0
    own = settings_of(review.read_text())
    assert own["SuccessExitStatus"] == ["1"]  # that something is due is no failure of the review


def test_what_the_hardware_needs_is_left_open() -> None:
    """systemd.exec(5) and systemd.resource-control(5) say what each of these takes away."""
    unit = settings_of(UNIT.read_text())
    assert "PrivateDevices" not in unit  # hides every terminal and pin
    assert (
        "ProcSubset" not in unit
    )  # hides the device tree, by which the board is told, and the boot's identity
    allowed = {line.split()[0] for line in unit["DeviceAllow"]}
    assert allowed >= {"char-ttyUSB", "char-ttyACM", "char-ttyAMA", "/dev/ttyS0", "char-gpiochip"}
    # a driver's number is looked up when the unit starts: it must be loaded by then
    for module in ("usbserial", "cdc_acm"):
        assert any(f"modprobe@{module}.service" in line for line in unit["Wants"])
        assert any(f"modprobe@{module}.service" in line for line in unit["After"])
    assert unit["Type"] == ["notify"] and unit["WatchdogSec"] == ["60"]


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


NAMESPACE = (
    subprocess.run(["unshare", "-m", "true"], capture_output=True, check=False).returncode == 0
    if (shutil.which("unshare") and os.geteuid() == 0)
    else False
)
DEVICES = """
set -e
for place in /sys /run /dev; do mount -t tmpfs none $place; done
mknod -m 666 /dev/null c 1 3
bus=/sys/devices/platform/xhci/usb1
mkdir -p $bus/1-1 /sys/class/tty /sys/bus/usb /sys/bus/usb-serial /sys/bus/platform /run/udev/rules.d
for hub in $bus $bus/1-1; do
  printf 'DEVTYPE=usb_device\\nDRIVER=usb\\n' > $hub/uevent; ln -s /sys/bus/usb $hub/subsystem
done
printf 'DRIVER=xhci\\n' > $bus/../uevent; ln -s /sys/bus/platform $bus/../subsystem
cable() {  # socket, serial number or nothing, ttyUSB number
  unit=$bus/1-1/1-1.$1; face=$unit/1-1.$1:1.0; port=$face/ttyUSB$3; tty=$port/tty/ttyUSB$3
  mkdir -p $tty; echo 1234 > $unit/idVendor; echo 5678 > $unit/idProduct; [ -z "$2" ] || echo "$2" > $unit/serial
  printf 'DEVTYPE=usb_device\\nDRIVER=usb\\n' > $unit/uevent; ln -s /sys/bus/usb $unit/subsystem
  printf 'DEVTYPE=usb_interface\\n' > $face/uevent; ln -s /sys/bus/usb $face/subsystem
  echo 00 > $face/bInterfaceNumber; echo ff > $face/bInterfaceClass
  printf 'DRIVER=x\\n' > $port/uevent; ln -s /sys/bus/usb-serial $port/subsystem; echo 0 > $port/port_number
  printf 9 > $port/latency_timer
  printf "MAJOR=188\\nMINOR=$3\\nDEVNAME=ttyUSB$3\\n" > $tty/uevent; ln -s /sys/class/tty $tty/subsystem
  echo 188:$3 > $tty/dev; ln -s ../../../ttyUSB$3 $tty/device; ln -s $tty /sys/class/tty/ttyUSB$3
}
cable 2 A601 0; cable 3 "" 1; cable 4 "" 2
cp "$@" /run/udev/rules.d/
export SYSTEMD_DEVICE_VERIFY_SYSFS=0
for number in 0 1 2; do
  udevadm test --action=add /sys/class/tty/ttyUSB$number 2>&1
  echo; echo "LATENCY=$(cat /sys/class/tty/ttyUSB$number/device/latency_timer)"
done
"""


def names_given(*rules: Path) -> list[dict[str, str]]:
    """What udev itself makes of three cables, of which one has a number, in a machine laid out in memory."""
    done = subprocess.run(
        ["unshare", "-m", "bash", "-c", DEVICES, "bash", *map(str, rules)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    *told, _ = re.split(r"(?m)(?<=^LATENCY=\d)\n", done.stdout)
    return [properties(one) for one in told]


def properties(told: str) -> dict[str, str]:
    """Of one `udevadm test`. Since 257 it puts them in, and only says what it would write into a file of the kernel's."""
    out = dict(line.strip().split("=", 1) for line in told.splitlines() if re.match(r" *[A-Z_]+=", line))
    if (only_said := re.search(r'skipping writing ATTR\{.*/latency_timer\}="(\d+)"', told)) is not None:
        out["LATENCY"] = only_said[1]
    return out


@needs("udevadm")
@pytest.mark.skipif(not NAMESPACE, reason="a machine in memory wants root and a mount namespace")
def test_udev_gives_the_names_that_the_pages_speak_of(tmp_path: Path) -> None:
    named, two, three = names_given(RULES)
    own = {"by-number/A601-port0", "by-socket/platform-xhci-usb-0:1.2:1.0-port0"}
    assert {f"/dev/sweepgauge/{name}" for name in own} <= set(named["DEVLINKS"].split())
    assert "by-number" not in two["DEVLINKS"] + three["DEVLINKS"]
    sockets = [name for one in (two, three) for name in one["DEVLINKS"].split() if "/by-socket/" in name]
    assert len(set(sockets)) == 2
    assert {one["LATENCY"] for one in (named, two, three)} == {"1"}
    assert {one["ID_MM_DEVICE_IGNORE"] for one in (named, two, three)} == {"1"}
    # a name of one's own, as the file says: what ls shows, whole, between the quotes
    line = next(line for line in RULES.read_text().splitlines() if line.endswith('sweepgauge/indicator"'))
    mine = tmp_path / "61-sweepgauge-own.rules"
    mine.write_text(re.sub(r'=="[^"]+"', f'=="{Path(sockets[1]).name}"', line.removeprefix("#")) + "\n")
    links = [one["DEVLINKS"] for one in names_given(RULES, mine)]
    assert ["/dev/sweepgauge/indicator" in one for one in links] == [False, False, True]


def test_the_pins_are_given_to_the_group_that_the_service_is_in() -> None:
    """Debian's own rules leave /dev/gpiochip0 to root; seen in the rig, where no pin could be opened."""
    assert "gpio" in settings_of(UNIT.read_text())["SupplementaryGroups"][0].split()
    before_cables = RULES.read_text().split('SUBSYSTEM!="tty"')[0]
    assert 'SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="gpio", MODE="0660"' in before_cables


@needs("udevadm")
def test_udev_finds_nothing_to_say_about_the_rule() -> None:
    done = subprocess.run(["udevadm", "verify", str(RULES)], capture_output=True, text=True, check=False)
    if "nknown command" in done.stderr + done.stdout:
        pytest.skip("this udevadm is older than 254 and cannot verify")
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """Where the service manager would listen."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind(str(tmp_path / "notify"))
        channel.settimeout(60)
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
        assert manager.recv(1000) == manager.recv(1000) == b"WATCHDOG=1"
        daemon.send_signal(signal.SIGTERM)
        while (said := manager.recv(1000)) == b"WATCHDOG=1":
            pass
        assert said == b"STOPPING=1"
        assert daemon.wait(60) == 0
    finally:
        daemon.kill()
        daemon.communicate()
