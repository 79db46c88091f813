"""A capture is all that is needed to support an instrument: what it writes, `decode` reads."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.cli.capture import capture
from bench.cli.common import CommandError
from bench.cli.decode import decode
from hw.formats.modbus_rtu import crc16


class Peer:
    """An instrument on a pseudo-terminal that answers what it is asked, or speaks by itself."""

    def __init__(self, *, line: bytes = b"", answer: bytes = b"") -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.name, self.asked = os.ttyname(self.slave), b""
        self._line, self._answer = line, answer
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._over.wait(0.01):
            try:
                asked = os.read(self.master, 256)
            except OSError:
                asked = b""
            self.asked += asked
            if self._line or (asked and self._answer):
                os.write(self.master, self._line or self._answer)

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def peers() -> Iterator[list[Peer]]:
    made: list[Peer] = []
    yield made
    for one in made:
        one.close()


def captured(folder: Path, settings: str, *args: str, seconds: str = "0.4") -> tuple[bytes, str]:
    (folder / "settings.toml").write_text(settings)
    options = ["--settings", str(folder / "settings.toml"), "--socket", str(folder / "none")]
    done = CliRunner().invoke(capture, [*args, "--seconds", seconds, *options], standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout_bytes, done.stderr


def values(data: bytes, *args: str) -> list[float | None]:
    done = CliRunner().invoke(decode, [*args, "--json"], input=data, standalone_mode=False)
    return [json.loads(line)["value"] for line in done.stdout.splitlines()]


def test_what_sends_by_itself(tmp_path: Path, peers: list[Peer]) -> None:
    peers.append(peer := Peer(line=b"+0012.345 mm\r\n"))
    data, said = captured(tmp_path, f'[indicator]\nport = "{peer.name}"\n')
    assert f"{len(data)} bytes" in said
    read = values(data, "--format", "line", "--option", "at_open=true")
    assert len(read) >= 3 and set(read[:-1]) == {12.345}
    assert peer.asked == b""  # nothing is sent to it


def test_what_speaks_only_when_asked(tmp_path: Path, peers: list[Peer]) -> None:
    peers.append(peer := Peer(answer=b"+0001.500 mm\r\n"))
    data, _ = captured(tmp_path, f'[caliper]\nport = "{peer.name}"\nrequest = "?\\r"\n', "caliper")
    assert set(values(data, "--format", "line")) == {1.5}
    assert peer.asked.startswith(b"?\r")


def test_registers_are_captured_as_decode_takes_them(tmp_path: Path, peers: list[Peer]) -> None:
    body = bytes.fromhex("01030400002710")
    peers.append(peer := Peer(answer=body + crc16(body)))
    data, _ = captured(tmp_path, f'[travel]\nport = "{peer.name}"\nformat = "modbus_rtu"\nrate = 20\n')
    assert set(values(data, "--format", "modbus_rtu")) == {10.0}


def test_silence_says_what_to_do(tmp_path: Path, peers: list[Peer]) -> None:
    peers.append(peer := Peer())
    data, said = captured(tmp_path, f'[indicator]\nport = "{peer.name}"\n', seconds="0.1")
    assert data == b"" and "send button" in said and "request" in said


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ("", "no instrument"),
        ('[indicator]\nport = "/dev/serial/by-id/nothing"\n', "/dev/serial/by-id/nothing"),
        ('[caliper]\nport = "/dev/input/by-id/x-event-kbd"\nformat = "wedge"\n', "only the daemon"),
    ],
)
def test_what_cannot_be_captured_says_why(tmp_path: Path, settings: str, says: str) -> None:
    with pytest.raises(CommandError, match=says):
        captured(tmp_path, settings)


def test_a_port_that_does_not_take_the_framing_says_so(
    tmp_path: Path, peers: list[Peer], no_parity: None
) -> None:
    peers.append(peer := Peer(line=b"+0012.345 mm\r\n"))
    with pytest.raises(CommandError, match="does not take 9600 baud 7E1") as caught:
        captured(tmp_path, f'[indicator]\nport = "{peer.name}"\nbits = 7\nparity = "even"\n')
    assert "parity7" in str(caught.value)


def test_a_saved_capture_has_all_that_a_report_needs(tmp_path: Path, peers: list[Peer]) -> None:
    """Speed and parity, what it is asked, what was done, and when each byte came: decode needs nothing else."""
    peers.append(peer := Peer(answer=bytes(b | b.bit_count() % 2 << 7 for b in b"+0001.500\r")))
    text = f'[caliper]\nport = "{peer.name}"\nrequest = "?\\r"\nbaud = 4800\nparity7 = "even"\nrate = 20\n'
    file = tmp_path / "mine.json"
    out, said = captured(
        tmp_path, text, "caliper", "--save", str(file), "--note", "jaws shut, display 1.50", seconds="1"
    )
    assert out == b"" and str(file) in said
    kept = json.loads(file.read_text())
    assert kept["note"] == "jaws shut, display 1.50" and kept["instrument"] == "caliper"
    assert kept["port"]["baud"] == 4800 and kept["port"]["request"] == "?\r" and kept["port"]["rate"] == 20
    times = [at for at, _ in kept["blocks"]]
    assert len(times) >= 3 and times == sorted(times) and times[0] >= 0 and times[-1] <= kept["seconds"] < 5
    assert values(file.read_bytes()) == [1.5] * len(times)
    done = CliRunner().invoke(decode, [], input=file.read_bytes(), standalone_mode=False)
    assert "jaws shut" in done.stderr and r'request = "?\r"' in done.stderr and "baud = 4800" in done.stderr
    answers = CliRunner().invoke(decode, ["--json"], input=file.read_bytes(), standalone_mode=False).stdout
    assert all(json.loads(line)["at"] in times for line in answers.splitlines())
    with pytest.raises(CommandError, match="is there already"):
        captured(tmp_path, text, "caliper", "--save", str(file))
    hurt = CliRunner().invoke(decode, [], input=file.read_bytes()[:-40], standalone_mode=False)
    assert isinstance(hurt.exception, CommandError) and "not whole" in str(hurt.exception)


def test_at_the_end_somebody_who_sits_there_is_asked_what_was_done(tmp_path: Path, peers: list[Peer]) -> None:
    peers.append(peer := Peer(line=b"+0012.345 mm\r\n"))
    master, slave = os.openpty()
    file = tmp_path / "mine.json"
    args = ["capture", peer.name, "--seconds", "0.2", "--save", str(file), "--socket", str(tmp_path / "none")]
    with subprocess.Popen(
        [sys.executable, "-m", "bench.cli", *args, "--settings", str(tmp_path / "none.toml")],
        stdin=slave,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as program:
        os.write(master, b"0.00; 10.00; inch 1.0000\n")
        _, said = program.communicate(timeout=60)
    os.close(master), os.close(slave)
    assert b"what did its display show" in said and program.returncode == 0
    assert json.loads(file.read_text())["note"] == "0.00; 10.00; inch 1.0000"


def test_a_device_that_the_settings_do_not_name(tmp_path: Path, peers: list[Peer]) -> None:
    peers.append(peer := Peer(line=b"POS=+012.345,T=21.5\r\n"))
    file = tmp_path / "mine.json"
    captured(tmp_path, "", peer.name, "--baud", "19200", "--save", str(file))
    kept = json.loads(file.read_text())
    assert kept["port"]["port"] == peer.name and kept["port"]["baud"] == 19200
    assert b"POS=" in b"".join(bytes.fromhex(text) for _, text in kept["blocks"])
    with pytest.raises(CommandError, match="is the travel of the settings"):
        captured(tmp_path, f'[travel]\nport = "{peer.name}"\n', peer.name)
    with pytest.raises(CommandError, match="--baud is for a device"):
        captured(tmp_path, f'[travel]\nport = "{peer.name}"\n', "travel", "--baud", "4800")
    with pytest.raises(CommandError, match="--save"):
        captured(tmp_path, "", peer.name, "--note", "at rest")


def test_through_the_daemon_that_holds_the_port(rigs, run, tmp_path: Path) -> None:
    rigs()
    run("daemon").hear("ready")
    for seconds in ("0.4", "4", "40"):  # a busy machine may need more until it hears anything
        done = subprocess.run(
            [sys.executable, "-m", "bench.cli", "capture", "travel", "--seconds", seconds],
            env={**os.environ, "SWEEPGAUGE_SOCKET": str(tmp_path / "socket")},
            capture_output=True,
            check=True,
        )
        read = values(done.stdout, "--format", "line", "--option", "at_open=true")
        if len(read) >= 3:
            break
    assert len(read) >= 3 and set(read[:-1]) == {0.0}
    saved = tmp_path / "mine.json"
    args = ["capture", "indicator", "--seconds", seconds, "--save", str(saved)]
    where = {
        name: str(tmp_path / file) for name, file in (("SOCKET", "socket"), ("SETTINGS", "settings.toml"))
    }
    subprocess.run(
        [sys.executable, "-m", "bench.cli", *args],
        env={**os.environ, **{f"SWEEPGAUGE_{name}": file for name, file in where.items()}},
        check=True,
    )
    kept = json.loads(saved.read_text())
    assert kept["instrument"] == "indicator" and kept["port"]["port"].endswith("port-indicator")
    assert values(saved.read_bytes())[-1] is not None
