"""Bad files: one line that names file and line, exit status 2, never a number."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import command

from bench.checks import find
from bench.checks.model import EvidenceGear
from bench.cli.csv_rows import RecordedError
from bench.cli.recorded_sweeps import read_sweeps

HEAD = "sweep,placement,travel_mm,reading_mm\n"
GOOD = "".join(f"1,handle-left,{i * 10},{1 + i * 0.001:.3f}\n" for i in range(12))


def read(tmp_path: Path, data: bytes, kind: str = "fence-square"):
    path = tmp_path / "recorded.csv"
    path.write_bytes(data)
    return read_sweeps(path, find(kind), {}, EvidenceGear())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD, "no readings"),
        (HEAD + GOOD + "1,handle-left,abc,1\n", ":14: travel_mm is not a number: 'abc'"),
        (HEAD + GOOD + "1,handle-left,,1\n", ":14: travel_mm is empty"),
        (HEAD + GOOD + "1,handle-left,1,nan\n", ":14: reading_mm is not finite"),
        (HEAD + GOOD + "1,handle-left,1,inf\n", ":14: reading_mm is not finite"),
        (HEAD + GOOD + "1,nowhere,1,1\n", ":14: unknown placement 'nowhere'"),
        (HEAD + GOOD + "1,handle-left,1\n", ":14: 3 fields"),
        (HEAD + GOOD + ",handle-left,1,1\n", ":14: the column sweep is empty"),
        (HEAD + "1,handle-left,5,1\n" * 9, "recorded.csv"),
        (HEAD + GOOD[: GOOD.index("1,handle-left,60")], "recorded.csv"),
        ("sweep;placement;travel_mm;reading_mm\n1,2,3,4\n", "recorded.csv"),
        ("sweep,placement,travel_mm,travel_in,reading_mm\n1,2,3,4\n", "recorded.csv"),
        ("sweep,sweep,placement,travel_mm,reading_mm\n1,2,3,4\n", "recorded.csv"),
        ("sweep,placement,travel,reading\n1,2,3,4\n", "recorded.csv"),
    ],
)
def test_bad_files_name_file_and_line(tmp_path, text: str, says: str) -> None:
    with pytest.raises(RecordedError) as error:
        read(tmp_path, text.encode())
    assert says in str(error.value)
    assert "recorded.csv" in str(error.value)


def test_what_spreadsheets_do_is_fine(tmp_path) -> None:
    data = b"\xef\xbb\xbf" + (HEAD + GOOD).replace("\n", "\r\n").encode() + b"\r\n\r\n"
    (trace,) = read(tmp_path, data)
    assert trace.push and len(trace.travel) == 12


def test_inches_and_pull_backs(tmp_path) -> None:
    text = "sweep,placement,travel_in,reading_mm\n" + "".join(f"7,handle-right,{9 - i},1\n" for i in range(9))
    (trace,) = read(tmp_path, text.encode())
    assert not trace.push and trace.travel[0] == 9 * 25.4


def test_no_file_a_folder_and_bytes(tmp_path) -> None:
    check = find("fence-square")
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(RecordedError):
            read_sweeps(path, check, {}, EvidenceGear())
    with pytest.raises(RecordedError):
        read(tmp_path, b"\x00\xff\xfe\x00" * 50)


def test_exit_2_and_one_line(tmp_path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(HEAD + GOOD + "1,handle-left,abc,1\n")
    done = command("evaluate", "fence-square", str(path), "--json")
    assert done.returncode == 2 and done.stdout == ""
    assert "bad.csv:14" in done.stderr and len(done.stderr.strip().splitlines()) == 1
