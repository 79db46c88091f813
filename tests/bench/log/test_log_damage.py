"""A damaged file: set aside with its time, what is readable salvaged and counted, never a crash loop."""

from __future__ import annotations

import json
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from bench.checks.model import Evidence
from bench.finding import Finding
from bench.log.events import list_events
from bench.log.findings import find_finding, list_findings
from bench.log.read_only import open_read
from bench.log.recover import list_sweeps
from bench.log.rows import LogDamaged
from bench.log.schema import PAGE_BYTES


def fill(live, runs: int = 6) -> dict[str, tuple[Finding, Evidence]]:
    life = live()
    kept = {}
    for number in range(runs):
        finding, evidence = life.whole_check(f"run-{number}")
        kept[finding.id] = (finding, evidence)
    assert life.writer.close()
    return kept


def overwrite(path: Path, start: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(start)
        file.write(data)


def damaged_names(path: Path) -> list[str]:
    return sorted(
        file.name for file in path.parent.iterdir() if ".damaged-" in file.name and file.suffix == ".sqlite"
    )


def test_a_damaged_table_is_salvaged_around_the_damage(live, path) -> None:
    fill(live, 30)
    with closing(sqlite3.connect(path)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'event'").fetchone()[0]
    original = path.read_bytes()
    overwrite(path, (root - 1) * PAGE_BYTES, b"\xff" * 1000)
    life = live("boot-b")
    salvage = life.writer.unfinished.salvage
    assert salvage is not None
    assert (salvage.sweeps, salvage.findings) == (90, 30)
    assert salvage.unreadable > 0
    assert "30 findings were read out of it" in life.writer.unfinished.words[0]
    assert life.troubles == []
    aside = Path(salvage.set_aside)
    assert [aside.name] == damaged_names(path)
    assert aside.read_bytes()[8192:] != b"" and len(aside.read_bytes()) == len(original)
    life.whole_check("after")
    life.writer.close()
    again = live("boot-c")
    assert again.writer.unfinished.salvage is None
    with open_read(path) as db:
        rows = list_findings(db)
        assert len(rows) == 31
        for row in rows:
            _, evidence = find_finding(db, row.finding.id)
            assert len(evidence.traces) == 3
        assert "log-salvaged" in [event.kind for event in list_events(db)]


@pytest.mark.parametrize(
    "table",
    [
        "trace",
        "gear",
        *(pytest.param(table, marks=pytest.mark.ci) for table in ("finding", "sweep", "check_run", "boot")),
    ],
)
def test_what_comes_after_never_takes_the_place_of_what_was_lost(live, path, table) -> None:
    """A table lost whole leaves links to its rows behind: no new row may answer to them."""
    fill(live, 4)
    with closing(sqlite3.connect(path)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchone()[0]
        (pages,) = db.execute("PRAGMA page_count").fetchone()
    assert root < pages
    overwrite(path, (root - 1) * PAGE_BYTES, b"\xff" * PAGE_BYTES)
    life = live("boot-b")
    wanted = {}
    for number in range(6):
        finding, evidence = life.whole_check(f"new-{number}")
        wanted[finding.id] = evidence
    assert life.writer.flush()
    assert [saved.refused for saved in life.saved if saved.refused] == []
    with open_read(path) as db:
        for row in list_findings(db):
            if row.finding.id in wanted:
                assert find_finding(db, row.finding.id) == (row.finding, wanted[row.finding.id])
            elif table in ("trace", "gear"):
                with pytest.raises(LogDamaged, match="missing from the log"):
                    find_finding(db, row.finding.id)


@pytest.mark.parametrize("length", [16, 100, 4096])
def test_a_lost_beginning_is_replaced(live, path, length) -> None:
    """The first page holds the list of tables; a fresh log's list fits any log of the same version."""
    names = list(fill(live))
    overwrite(path, 0, b"\xa5" * length)
    life = live("boot-b")
    assert life.writer.unfinished.salvage is not None
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == names


def test_a_file_of_rubbish_and_a_truncated_one(live, path) -> None:
    path.write_bytes(b"\n".join(b"this is no log" for _ in range(1000)))
    life = live()
    assert life.writer.unfinished.salvage is not None
    life.whole_check("run-1")
    assert life.writer.close()
    path.write_bytes(path.read_bytes()[:50_000])
    again = live("boot-b")
    assert again.writer.unfinished.salvage is not None
    again.whole_check("run-9")
    assert again.writer.flush()
    assert len(damaged_names(path)) == 2


def test_damage_found_while_running_is_salvaged_without_a_restart(live, path) -> None:
    names = list(fill(live, 20))
    life = live("boot-b")
    life.writer.flush()
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        roots = [
            row[0] for row in db.execute("SELECT rootpage FROM sqlite_schema WHERE tbl_name = 'quantity'")
        ]
    for root in roots:
        overwrite(path, (root - 1) * PAGE_BYTES, b"\xff" * 200)
    for number in range(40):
        life.whole_check(f"late-{number}")
        names.append(f"late-{number}-f")
    assert life.writer.flush(10)
    assert life.troubles[-1] is None if life.troubles else True
    life.writer.close()
    live("boot-c").writer.close()
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == names


def test_numbers_damaged_in_place_are_never_read_as_numbers(live, path) -> None:
    fill(live, 1)
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(
            "UPDATE trace SET reading_mm_packed = CAST(substr(reading_mm_packed, 1, 20) || x'00' AS BLOB)"
        )
        db.execute("UPDATE finding SET finding_json = replace(finding_json, '0.0003', '0.0004')")
    with open_read(path) as db:
        with pytest.raises(LogDamaged, match="checksum"):
            find_finding(db, "run-0-f")
        (first, *_) = list_sweeps(db, "run-0")
        assert first.trace is None
        assert "damaged in the log" in str(first.reason)


def damage_at_random(live, path, starts: int, seed: int) -> dict[str, int]:
    """Overwrite 1 to 4 KiB anywhere, start, and look: as often as told, always from the same whole log."""
    kept = fill(live, 12)
    whole = path.read_bytes()
    chance = random.Random(seed)
    figures = {"starts": starts, "set_aside": 0, "findings_lost": 0, "evidence_lost": 0, "sweeps_lost": 0}
    for number in range(starts):
        for file in path.parent.iterdir():
            if file.suffix != ".lock":
                file.unlink()
        path.write_bytes(whole)
        length = chance.randint(1024, 4096)
        overwrite(path, chance.randrange(len(whole) - length), chance.randbytes(length))
        for boot in ("first", "second"):
            life = live(f"{boot}-{number}")
            life.whole_check(f"{boot}-{number}")
            assert life.writer.flush(10)
            if boot == "first":
                figures["set_aside"] += life.writer.unfinished.salvage is not None
            else:
                assert life.writer.unfinished.salvage is None
            assert life.writer.close()
        with open_read(path) as db:
            names = {finding for (finding,) in db.execute("SELECT finding FROM finding")}
            figures["findings_lost"] += len(kept.keys() - names)
            for name in kept.keys() & names:
                try:
                    assert find_finding(db, name) == kept[name]  # right, or said to be damaged
                except LogDamaged:
                    figures["evidence_lost"] += 1
            figures["sweeps_lost"] += 42 - db.execute("SELECT count(*) FROM sweep").fetchone()[0]
        assert {f"first-{number}-f", f"second-{number}-f"} <= names
    return figures


def test_a_few_random_damages(live, path, caplog) -> None:
    damage_at_random(live, path, 5, seed=3)


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_two_hundred_random_damages(live, path, caplog) -> None:
    figures = damage_at_random(live, path, 200, seed=4)
    print(
        json.dumps(
            {"test": "damaged file at start", "figure": figures, "limit": "no crash loop", "pass": True}
        )
    )
    assert figures["set_aside"] > 0
