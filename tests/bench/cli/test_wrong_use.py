"""What is wrong is said in one line that names it, with exit status 2: by all commands."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from command import command

SWEEPS = "sweep,placement,travel_mm,reading_mm\n" + "".join(
    f"{n},handle-left,{25 * i},{2 + 0.005 * i + 0.001 * (i * n % 3)}\n" for n in (1, 2) for i in range(10)
)


def use(folder: Path, *args: str) -> str:
    """The one line, without the name of the program."""
    (folder / "sweeps.csv").write_text(SWEEPS)
    done = command(*args, home=folder)
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("sweepgauge: ")
    return line.removeprefix("sweepgauge: ")


@pytest.mark.parametrize("there", [None, b"", b"no log at all\n" * 100])
def test_a_log_that_is_none_is_not_taken_for_history(tmp_path: Path, there: bytes | None) -> None:
    if there is not None:
        (tmp_path / "other.db").write_bytes(there)
    assert "other.db" in use(
        tmp_path, "evaluate", "fence-square", "sweeps.csv", "--log", "other.db", "--json"
    )


@pytest.mark.parametrize("command", [["drift"], ["log", "list"]])
def test_a_check_that_is_none_has_no_history(tmp_path: Path, command: list[str]) -> None:
    line = use(tmp_path, *command, "--log", "log.db", "--check", "fence-sqare")
    assert "fence-sqare" in line and "fence-square" in line


def test_a_port_that_is_none_is_not_opened(tmp_path: Path) -> None:
    assert "'caliper'" in use(tmp_path, "capture", "caliper", "--seconds", "1")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ([], ["--help", "demo"]),
        (["log"], ["list", "show", "export", "log --help"]),
        (["decode", "--format", "line", "--option", "profile=plain", "--option", "profile=mux"], ["profile"]),
        (
            ["evaluate", "test-board", "board.csv", "--apart", "0 mm"],
            ["--apart", "from 1 to 5000 mm", "'0 mm'"],
        ),
    ],
)
def test_what_is_missing_is_named(tmp_path: Path, args: list[str], says: list[str]) -> None:
    (tmp_path / "board.csv").write_text("end,width_mm\nnear,20\nnear,20.01\nfar,20\nfar,20.01\n")
    line = use(tmp_path, *args)
    assert all(word in line for word in says), line


@pytest.mark.parametrize(
    ("kind", "given"),
    [("rip-fence", f"--blade={value}") for value in ("nan", "inf", "-inf", "1e400", "9", "2 rad")]
    + [("rip-fence", "--blade-uncertainty=nan"), ("test-board", "--sweep-fence=nan")],
)
def test_an_angle_is_a_number_of_the_size_of_a_saws(tmp_path: Path, kind: str, given: str) -> None:
    assert given.partition("=")[0] in use(tmp_path, "evaluate", kind, "sweeps.csv", given)


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("rip-fence", "--blade-uncertainty=-0.001"),
        ("fence-square", "--touch-away=-3 mm"),
        ("fence-square", "--runner-length=0 mm"),
        ("plate-wobble", "--radius=-100 mm"),
        ("slot-blade", "--end-float=-0.005 mm"),
    ],
)
def test_what_cannot_be_less_than_nothing_is_refused(tmp_path: Path, kind: str, given: str) -> None:
    assert given.partition("=")[0] in use(tmp_path, "evaluate", kind, "sweeps.csv", given)


def test_a_card_that_is_full_is_said(tmp_path: Path) -> None:
    (tmp_path / "sweeps.csv").write_text(SWEEPS)
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "bench.cli", "evaluate", "fence-square", "sweeps.csv", "--json"],
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
            text=True,
            cwd=tmp_path,
            env={"HOME": str(tmp_path), "PATH": "/usr/bin:/bin"},
            timeout=60,
        )
    assert done.returncode == 2
    assert done.stderr == "sweepgauge: the answer could not be written: No space left on device\n"


def test_a_file_that_is_refused_keeps_no_other_from_its_answer(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    files = ["bad.csv", "good.csv", "none.csv", "good.csv"]
    good.write_text(SWEEPS)
    bad.write_text(SWEEPS.replace("handle-left,25,", "handle-left,x,"))
    done = subprocess.run(
        [sys.executable, "-m", "bench.cli", "evaluate", "fence-square", "--json", *files],
        capture_output=True,
        check=False,
        text=True,
        cwd=tmp_path,
        env={"HOME": str(tmp_path), "PATH": "/usr/bin:/bin"},
        timeout=60,
    )
    assert done.returncode == 2
    assert len(done.stdout.splitlines()) == 2
    first, second = done.stderr.splitlines()  # one line for each that is refused
    assert first.startswith("sweepgauge: bad.csv:3: ") and second.startswith("sweepgauge: none.csv: ")
