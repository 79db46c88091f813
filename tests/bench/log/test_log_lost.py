"""Damage is told and costs no more than it hit: a bad row one result, a lost or damaged -wal what it alone held."""

from __future__ import annotations

import json
import random
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bench.cli.drift import drift
from bench.cli.log import log
from bench.log import high_water_marks
from bench.log.findings import each_finding, list_findings
from bench.log.read_only import open_read
from bench.log.rows import LogDamaged
from bench.log.schema import PAGE_BYTES

KEPT = ("", "-wal", ".acknowledged")


def beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def copy(path: Path) -> dict[str, bytes]:
    """What a card pulled out now would hold."""
    return {suffix: beside(path, suffix).read_bytes() for suffix in KEPT if beside(path, suffix).exists()}


def lay_down(path: Path, files: dict[str, bytes]) -> None:
    for file in path.parent.iterdir():
        file.unlink()
    for suffix, data in files.items():
        beside(path, suffix).write_bytes(data)


def run(command, *args: str) -> Result:
    return CliRunner().invoke(command, args, standalone_mode=False)


def spoil_finding(path: Path, name: str, seed: int = 1) -> None:
    """100 random bytes over the middle of what one result says, where it lies in the file."""
    chance, data = random.Random(seed), bytearray(path.read_bytes())
    at = data.index(f'"id":"{name}"'.encode()) + 40
    data[at : at + 100] = chance.randbytes(100)
    path.write_bytes(data)


def test_one_bad_row_costs_one_row_and_is_told(live, path) -> None:
    life = live()
    for number in range(5):
        life.whole_check(f"run-{number}", sweeps=1)
    life.writer.close()
    spoil_finding(path, "run-2-f")
    others = [f"run-{n}-f" for n in (0, 1, 3, 4)]
    told = "1 result could not be read: number 3 (2027-01-15). The others are not affected."

    shown = run(log, "list", "--log", str(path), "--json")
    answer = json.loads(shown.stdout)
    assert [one["id"] for one in answer["findings"]] == others[::-1]
    assert answer["unread"] == [{"what": "result", "number": 3, "at": "2027-01-15T08:00:00+00:00"}]
    assert (shown.return_value, told in shown.stderr) == (1, True)

    exported = run(log, "export", "--log", str(path))
    lines = [json.loads(line) for line in exported.stdout.splitlines()]
    assert [line["finding"]["id"] for line in lines] == others
    assert all(line["evidence"] is not None for line in lines)
    assert (exported.return_value, told in exported.stderr) == (1, True)

    drifted = run(drift, "--log", str(path), "--json")
    assert json.loads(drifted.stdout)["series"][0]["baselines"][0]["results"][-1]["id"] == "run-4-f"
    assert (drifted.return_value, told in drifted.stderr) == (1, True)
    shown = run(log, "show", "run-4-f", "--log", str(path))
    assert shown.return_value == 0


def test_a_bad_page_costs_what_lies_on_it(live, path) -> None:
    """SQLite gives up a whole list at such a page; counting the numbers goes round it."""
    life = live()
    for number in range(20):
        life.whole_check(f"run-{number:02}", sweeps=1)
    life.writer.close()
    data = bytearray(path.read_bytes())
    page = data.index(b'"id":"run-07-f"') // PAGE_BYTES * PAGE_BYTES
    data[page : page + 8] = b"\xff" * 8
    path.write_bytes(data)
    for more in ((), ("--jig", "big-sled"), ("--check", "fence-square")):
        shown = run(log, "list", "--log", str(path), "--json", *more)
        answer = json.loads(shown.stdout)
        assert shown.return_value == 1 and len(answer["unread"]) < 6
        assert len(answer["findings"]) + len(answer["unread"]) == 20
        assert 8 in [one["number"] for one in answer["unread"]]


def test_a_bad_event_costs_one_event(live, path) -> None:
    life = live()
    for words in ("one", "two", "three"):
        life.writer.event(None, "instrument", {"name": "indicator", "words": f"The indicator {words}."})
    life.writer.close()
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE event SET data_json = CAST(x'7bfffe22' AS TEXT) WHERE data_json LIKE '%two%'")
    listed = run(log, "events", "--log", str(path)).stdout.splitlines()
    assert [line[21:] for line in listed] == [
        "The indicator three.",
        "One event of the log can no longer be read.",
        "The indicator one.",
        "The log was opened by test 1.",
    ]


@pytest.fixture
def pulled(live, path, tmp_path_factory) -> tuple[Path, dict[str, bytes]]:
    """A log of three results, of which the last passes stand only in the -wal, as when the power goes."""
    life = live()
    for number in range(3):
        life.whole_check(f"run-{number}")
    life.begin("open")
    assert life.writer.flush()
    for number in range(4):
        life.sweep(f"open-{number}", "open")
        assert life.writer.flush()
    return tmp_path_factory.mktemp("card") / path.name, copy(path)


def start(live, path: Path):
    writer = live("boot-b", at=path).writer
    assert writer.close()
    return writer.unfinished


def test_nothing_is_missed_where_nothing_is_missing(live, pulled) -> None:
    path, files = pulled
    lay_down(path, files)
    left = start(live, path)
    assert (left.lacking, left.salvage, left.about_log) == ({}, None, [])
    assert sum(len(one.sweeps) for one in left.runs) == 4


def test_a_lost_write_ahead_file_is_known_by_what_was_told(live, pulled) -> None:
    path, files = pulled
    lay_down(path, {suffix: data for suffix, data in files.items() if suffix != "-wal"})
    left = start(live, path)
    assert left.salvage is None
    assert left.lacking["sweep"] == 4 and "finding" not in left.lacking  # merged after each result
    assert left.words[0].startswith("Missing from the log: 4 passes, saved before and lost since.")
    assert "4 passes" in run(log, "events", "--log", str(path)).stdout
    assert start(live, path).about_log == []  # told once


def test_a_damaged_write_ahead_file_is_read_up_to_the_damage_and_the_rest_is_told(live, pulled) -> None:
    path, files = pulled
    frames_of = files["-wal"]
    middle = len(frames_of) // 2
    damaged = frames_of[:middle] + b"\xa5" * 1024 + frames_of[middle + 1024 :]
    lay_down(path, files | {"-wal": damaged})
    left = start(live, path)
    assert left.salvage is not None and left.salvage.findings == 3
    assert left.salvage.sweeps + left.lacking.get("sweep", 0) == 9 + 4
    assert 9 < left.salvage.sweeps < 9 + 4
    aside = Path(left.salvage.set_aside)
    assert beside(aside, "-wal").read_bytes() == damaged


@pytest.mark.parametrize("blank", [None, b""])
def test_a_log_that_is_away_beside_its_write_ahead_file_is_no_new_log(live, path, blank) -> None:
    life = live()
    life.begin("run-0")
    life.sweep("s-0", "run-0")
    assert life.writer.flush()
    files = copy(path)
    life.writer.close()
    del files[""]
    lay_down(path, files if blank is None else {**files, "": blank})
    left = start(live, path)
    assert left.salvage is not None and left.salvage.sweeps == 1 and left.lacking == {}
    assert beside(Path(left.salvage.set_aside), "").exists()


@pytest.mark.parametrize("blank", [None, b""])
def test_a_log_that_is_away_beside_what_was_told_is_missed(live, pulled, blank) -> None:
    path, files = pulled
    lay_down(path, {".acknowledged": files[".acknowledged"]} | ({} if blank is None else {"": blank}))
    left = start(live, path)
    assert left.words[0].startswith("Missing from the log: 3 results and 13 passes, saved before")
    life = live("boot-c", at=path)
    life.whole_check("new")  # takes no number of a lost one
    life.writer.close()
    with open_read(path) as db:
        assert [row.order for row in list_findings(db)] == [4]


def test_what_was_told_is_never_ahead_of_what_is_there_nor_behind(live, path) -> None:
    life = live()
    for number in range(3):
        life.whole_check(f"run-{number}", sweeps=1)
        assert life.writer.flush()
        told = high_water_marks.read(path)
        assert told is not None and told.highest["finding"] == number + 1
        with open_read(path) as db:
            assert high_water_marks.missing_rows(db, told) == {}
    block = high_water_marks.beside(path)
    assert block.stat().st_size == 512
    whole = block.read_bytes()
    block.write_bytes(b"")  # the power went before it was written for the first time
    assert high_water_marks.read(path) is None
    block.write_bytes(whole.replace(b'"finding":3', b'"finding":9'))
    with pytest.raises(LogDamaged, match="acknowledged is damaged"):
        high_water_marks.read(path)
    life.writer.close()
    assert "whether anything is missing" in start(live, path).words[0]


def damage(files: dict[str, bytes], chance: random.Random) -> tuple[str, dict[str, bytes]]:
    """1 to 4 KiB overwritten somewhere in the log or its -wal, or one of the two gone."""
    kind = chance.choice(["log", "log", "-wal", "-wal", "no -wal", "no log"])
    if kind.startswith("no"):
        return kind, {s: d for s, d in files.items() if s != {"no -wal": "-wal", "no log": ""}[kind]}
    suffix = "" if kind == "log" else kind
    data = bytearray(files[suffix])
    length = chance.randint(1024, 4096)
    at = chance.randrange(len(data) - length)
    data[at : at + length] = chance.randbytes(length)
    return kind, files | {suffix: bytes(data)}


def lost_in_silence(
    live, path: Path, files: dict[str, bytes], chance: random.Random
) -> tuple[Counter[str], str]:
    kind, damaged = damage(files, chance)
    lay_down(path, damaged)
    life = live("after", at=path)
    life.whole_check("after")
    assert life.writer.flush(10)
    left = life.writer.unfinished
    life.writer.close()
    unread = []
    with open_read(path) as db:
        rows = list(each_finding(db, unread))
        there = {sweep for (sweep,) in db.execute("SELECT sweep FROM sweep")}
    lost = Counter(finding=4 - len(rows), sweep=9 + 4 + 3 - len(there))
    told = Counter(left.lacking) + Counter(finding=sum(one.what == "result" for one in unread))
    assert "after-f" in {row.finding.id for row in rows}
    assert bool(left.about_log) == bool(left.salvage or left.lacking)
    second = live("second", at=path).writer
    assert second.unfinished.about_log == []  # no loop
    second.close()
    return +Counter({table: lost[table] - told[table] for table in lost}), kind


def look(live, pulled, starts: int, seed: int) -> dict[str, object]:
    path, files = pulled
    chance, silent, kinds = random.Random(seed), Counter[str](), Counter[str]()
    for _ in range(starts):
        found, kind = lost_in_silence(live, path, files, chance)
        silent += found
        kinds[kind] += 1
    return {"starts": starts, "lost in silence": dict(silent), "kinds": dict(kinds)}


def test_a_few_damages_are_all_told(live, pulled, caplog) -> None:
    assert look(live, pulled, 3, seed=5)["lost in silence"] == {}


@pytest.mark.ci
def test_some_damages_are_all_told(live, pulled, caplog) -> None:
    assert look(live, pulled, 30, seed=6)["lost in silence"] == {}


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_two_hundred_damages_are_all_told(live, pulled, caplog) -> None:
    figure = look(live, pulled, 200, seed=7)
    passed = figure["lost in silence"] == {}
    print(json.dumps({"test": "no silent loss", "figure": figure, "limit": 0, "pass": passed}))
    assert passed
