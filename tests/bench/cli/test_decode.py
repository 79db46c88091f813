"""What `decode` and `capture` tell a person: which formats there are, what would fit, and what goes on in a pipe."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import tty
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.cli.decode import decode
from hw.formats import FORMATS
from hw.formats.line import PROFILES

SWEEPGAUGE = [sys.executable, "-m", "bench.cli"]


def decoded(data: bytes, *args: str) -> tuple[str, str]:
    """Standard output and standard error."""
    done = CliRunner().invoke(decode, list(args), input=data, standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout, done.stderr


def test_help_names_every_format_and_profile() -> None:
    said = CliRunner().invoke(decode, ["--help"]).output
    assert all(name in said for name in (*FORMATS, *PROFILES))


@pytest.mark.parametrize(
    ("data", "args", "fits"),
    [
        (b"1 MW+003.4665 mm\r\n" * 5, ("--format", "line"), "--format line --option profile=mux"),
        (b"+1.234 mm\r\n" * 5, ("--format", "sync24"), "--format line --option profile=plain"),
        (
            bytes(byte | (byte.bit_count() % 2 << 7) for byte in b"+0001.234\r") * 5,
            ("--format", "line"),
            "--option parity7=even",
        ),
    ],
)
def test_where_nothing_reads_what_would_fit_is_said(data: bytes, args: tuple[str, ...], fits: str) -> None:
    out, said = decoded(data, *args)
    assert fits in said and fits not in out
    assert "would fit" not in decoded(data, *args, "--json")[0]


def test_bits_are_not_taken_for_a_number() -> None:
    assert "would fit" not in decoded(b"111111111111111111111111\n", "--format", "sync48")[1]
    assert "--format sync24" in decoded(b"0100 1011 0010 0000 0000 0000\n", "--format", "sync48")[1]


@pytest.mark.parametrize(
    ("data", "args", "fits"),
    [
        (b"101101001101111111111111\n" * 3, ("--format", "sync24"), "--format sync24 --option invert=true"),
        (b"KEY_1 KEY_DOT KEY_5 KEY_ENTER\n", ("--format", "line"), "--format wedge"),
        (b"01030400002710e00f\n" * 3, ("--format", "line"), "--format modbus_rtu"),
        (b"0000\n" * 5, ("--format", "sync24"), "changed over"),
    ],
)
def test_what_does_not_come_over_a_serial_line_is_known_too(
    data: bytes, args: tuple[str, ...], fits: str
) -> None:
    assert fits in decoded(data, *args)[1]


def test_where_it_reads_nothing_else_is_proposed() -> None:
    assert "would fit" not in decoded(b"+1.234 mm\r\n" * 5, "--format", "line")[1]


def test_an_empty_capture_is_said_to_be_empty() -> None:
    out, said = decoded(b"", "--format", "line")
    assert not out and "nothing" in said.lower()


def test_a_long_rejected_frame_is_cut_for_the_eye_alone() -> None:
    out, _ = decoded(b"x" * 60 + b"\r\n", "--format", "line")
    assert len(out) < 120 and "..." in out
    out, _ = decoded(b"x" * 60 + b"\r\n", "--format", "line", "--json")
    assert "78" * 60 in out


@pytest.mark.parametrize("line", ["+123.4565 mm", "+1234567.8 mm", "-0.00005 mm"])
def test_a_person_is_shown_every_digit(line: str) -> None:
    assert decoded(f"{line}\r\n".encode(), "--format", "line")[0].startswith(f"{line.lstrip('+')} ")
    (refused,) = decoded(f"{line}\r\n".encode(), "--format", "line", "--option", "range_mm=5,6.000001")[
        0
    ].splitlines()
    assert f"{line.lstrip('+')} is outside range_mm 5 to 6.000001" in refused


def test_no_standard_input_at_all_is_wrong_use() -> None:
    done = subprocess.run(
        ["sh", "-c", 'exec "$0" "$@" <&-', *SWEEPGAUGE, "decode", "--format", "line"],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 2 and not done.stdout
    (said,) = done.stderr.splitlines()
    assert "standard input" in said


def test_a_living_stream_is_decoded_as_it_comes() -> None:
    """`capture | decode` shows a reading when it is sent, not when 64 kilobytes are together."""
    with subprocess.Popen(
        [*SWEEPGAUGE, "decode", "--format", "line"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as done:
        assert done.stdin is not None and done.stdout is not None
        timer = threading.Timer(20, done.kill)
        timer.start()
        done.stdin.write(b"+1.234 mm\r\n")
        done.stdin.flush()
        assert done.stdout.readline().startswith(b"1.234 mm")
        done.stdin.close()
        timer.cancel()
    assert done.returncode == 0


@pytest.mark.parametrize("command", ["capture", "decode"])
def test_whoever_reads_only_the_first_lines_causes_no_complaint(command: str, tmp_path: Path) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    (tmp_path / "settings.toml").write_text(f'[indicator]\nport = "{os.ttyname(slave)}"\n')
    env = {
        **os.environ,
        "SWEEPGAUGE_SETTINGS": str(tmp_path / "settings.toml"),
        "SWEEPGAUGE_SOCKET": str(tmp_path / "socket"),
    }
    args = {"capture": ["capture", "--seconds", "20"], "decode": ["decode", "--format", "line"]}[command]
    with subprocess.Popen(
        [*SWEEPGAUGE, *args], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env
    ) as done:
        assert done.stdin is not None and done.stdout is not None and done.stderr is not None
        over = threading.Event()

        def speak() -> None:
            while not over.wait(0.02):
                try:
                    os.write(master if command == "capture" else done.stdin.fileno(), b"+1.234 mm\r\n")
                except OSError:
                    return

        thread = threading.Thread(target=speak)
        thread.start()
        done.stdout.read(4)
        done.stdout.close()
        code, said = done.wait(20), done.stderr.read()
        over.set()
        thread.join()
    os.close(master), os.close(slave)
    assert code == 0 and b"Errno" not in said and b"Traceback" not in said, said


def test_what_a_stranger_wrote_into_a_capture_cannot_work_the_terminal() -> None:
    from bench.cli.capture_file import SavedCapture, encode

    odd = "gauge\x1b[2J\x1b]0;x\x07\n\u202e"
    out, said = decoded(
        encode(SavedCapture(instrument=odd, at=odd, note=odd, blocks=[(0.0, b"+1.0 mm\r\n".hex())]))
    )
    assert all(line.isprintable() for line in (out + said).splitlines())
    assert "Note: gauge" in said
