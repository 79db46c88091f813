"""Which words name a port; what names a file or anything else is neither opened nor written to, whoever asks."""

from __future__ import annotations

import asyncio
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from bench.doctor.direct_port import open_port
from bench.settings.settings_file import PortSettings, SettingsError, load
from hw import port_names
from hw.discovery.listening import open_line
from hw.port_names import NotAPort, PortOptions, is_port_name
from hw.ports.serial_port import SerialPort
from hw.ports.typed_keys import TypedKeys
from hw.reading import PortState

GOOD = (
    "/dev/serial/by-id/usb-gauge_A601-if00-port0",
    "/dev/serial0",
    "/dev/pts/3",
    "/run/demo/ports/indicator",  # the virtual bench's links to pseudo-terminals
    "/dev/sweepgauge/by-socket/platform-xhci-usb-0:1.2:1.0-port0",
    "socket://gauge.local:4000",
    "socket://[fe80::1]:4000",
    "rfc2217://10.0.0.7:2217",
    "rfc2217://10.0.0.7:2217?ign_set_control",
    "loop://",
)
BAD = (
    "spy:///dev/ttyUSB0?file=/var/lib/sweepgauge/log.db",
    "SPY://socket://h:1?file=log.db",
    "spy://loop://?file=log.db",
    "alt:///dev/ttyUSB0?class=PosixPollSerial",
    "hwgrep://.*",
    "cp2110://0001",
    "loop://?logging=debug",
    "socket://h:1?logging=debug",
    "socket://h",
    "socket://:1",
    "socket://h:x",
    "socket://h:99999",
    "socket://h:1/x",
    "/dev/spy://x",
    "ttyUSB0",
    "../log.db",
    "COM3",
    "/dev/tty\nUSB0",
    "/dev/\x1b[2Jtty",
    "/" + "x" * 300,
)


@pytest.mark.parametrize("name", GOOD)
def test_a_port_has_such_a_name(name: str) -> None:
    assert is_port_name(name)


@pytest.mark.parametrize("name", BAD)
def test_what_names_no_port_is_told_with_what_would_do(name: str, tmp_path: Path) -> None:
    """Where the word enters, and at each of the doors behind it."""
    assert not is_port_name(name)
    settings = tmp_path / "settings.toml"
    text = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in name)
    for section in ("indicator", "travel", "caliper"):
        settings.write_text(f'[{section}]\nport = "{text}"\n')
        with pytest.raises(SettingsError) as told:
            load(settings)
        assert f"{section}.port: found" in str(told.value) and "would do" in str(told.value)
        assert str(told.value).isprintable()
    for door in (lambda: open_line(name, 9600), lambda: open_port(PortSettings(port=name))):
        with pytest.raises(NotAPort, match="would do"):
            door()


def test_no_other_place_makes_a_port() -> None:
    house = Path(port_names.__file__).parents[1]
    made = {
        str(file.relative_to(house))
        for room in ("bench", "hw")
        for file in (house / room).rglob("*.py")
        if "serial_for_url" in file.read_text() or "serial.Serial(" in file.read_text()
    }
    assert made == {"hw/port_names.py"}


@given(st.sampled_from(["spy", "alt", "hwgrep", "cp2110", "file", "ftp", ""]), st.text(max_size=40))
def test_no_other_kind_of_url_is_a_port(scheme: str, rest: str) -> None:
    assert not is_port_name(f"{scheme}://{rest}")


def _spy(log: Path) -> str:
    return f"spy://loop://?file={log}"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    file = tmp_path / "log.db"
    file.write_bytes(b"ten years of sleds")
    file.chmod(0o600)
    return file


def _fifo(log: Path) -> str:
    os.mkfifo(log.parent / "pipe")
    return str(log.parent / "pipe")


def _link(log: Path) -> str:
    (log.parent / "usb-gauge").symlink_to(log)
    return str(log.parent / "usb-gauge")


THINGS: list[Callable[[Path], str]] = [
    _spy, str, _link, _fifo, lambda log: str(log.parent), lambda log: "/dev/null", lambda log: "/dev/zero",
]  # fmt: skip


@pytest.mark.parametrize("thing", THINGS, ids=["spy", "file", "link", "pipe", "folder", "null", "zero"])
async def test_what_is_no_port_is_never_opened_nor_written_to(
    thing: Callable[[Path], str], log: Path, monkeypatch
) -> None:
    name = thing(log)
    real, touched = os.open, []
    monkeypatch.setattr(os, "open", lambda path, *a, **k: touched.append(path) or real(path, *a, **k))
    for door in (lambda: open_line(name, 9600), lambda: open_port(PortSettings(port=name))):
        with pytest.raises(OSError, match="port"):
            door()
    states: asyncio.Queue[tuple[PortState, str]] = asyncio.Queue()
    for port in (
        SerialPort(PortOptions(name), lambda data, when: None, lambda *said: states.put_nowait(said)),
        TypedKeys(name, lambda data, when: None, lambda *said: states.put_nowait(said)),
    ):
        port.start()
        state, words = await asyncio.wait_for(states.get(), 60.0)
        await port.stop()
        assert state == "absent" and ("would do" in words or "not there" in words)
    assert name not in touched
    assert log.read_bytes() == b"ten years of sleds" and stat.S_IMODE(log.stat().st_mode) == 0o600


def test_what_takes_the_ports_place_meanwhile_is_not_written_to(log: Path, monkeypatch) -> None:
    """Seen as a terminal, opened as a file: refused by the kernel before a byte goes out."""
    monkeypatch.setattr(port_names, "refuse_other_things", lambda path: None)
    before = os.stat(log)
    with pytest.raises((OSError, serial.SerialException)):
        open_line(str(log), 9600)
    with pytest.raises((OSError, serial.SerialException)):
        open_port(PortSettings(port=str(log)))
    assert log.read_bytes() == b"ten years of sleds" and os.stat(log).st_mtime_ns == before.st_mtime_ns
