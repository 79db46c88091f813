"""Changes to the tables are atomic, foreign and newer files are left as they are, everything is described."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pytest

from bench.log import read, schema
from bench.log.rows import LogError, LogNewer, LogUnknown
from bench.log.tables import MIGRATIONS


def test_every_table_and_column_is_described(live, path) -> None:
    live().writer.close()
    with read.open_read(path) as db:
        described = read.describe(db)
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        tables.remove("sqlite_sequence")  # SQLite's own
        for table in tables:
            columns = {row[1] for row in db.execute(f"PRAGMA table_info({table})")}
            assert set(described[table]) == columns | {""}
            assert all(described[table].values())
            assert db.execute("SELECT strict FROM pragma_table_list(?)", (table,)).fetchone() == (1,)
    assert set(described) == set(tables)


def test_it_is_durable_and_says_whose_it_is(live, path) -> None:
    live()
    with closing(schema.connect(path)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)
        assert db.execute("PRAGMA application_id").fetchone() == (schema.APPLICATION_ID,)
        names = db.execute("SELECT name FROM migration ORDER BY migration_key").fetchall()
    assert names == [(name,) for name, _ in MIGRATIONS]


def test_a_failing_change_leaves_the_one_before(path) -> None:
    def next_tables(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE next_one (x INTEGER) STRICT")
        db.execute("INSERT INTO nowhere VALUES (1)")

    with closing(schema.connect(path)) as db:
        with pytest.raises(sqlite3.OperationalError, match="nowhere"):
            schema.migrate(db, (*MIGRATIONS, ("next", next_tables)))
        assert db.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
        assert db.execute("SELECT count(*) FROM migration").fetchone() == (len(MIGRATIONS),)
        assert db.execute("SELECT * FROM sqlite_schema WHERE name = 'next_one'").fetchall() == []


def test_changes_run_once_and_in_order(path) -> None:
    ran: list[str] = []
    more = [(f"change {n}", lambda db, n=n: ran.append(f"change {n}")) for n in range(3)]
    with closing(schema.connect(path)) as db:
        assert schema.migrate(db, (*MIGRATIONS, *more[:2])) == ["change 0", "change 1"]
        assert schema.migrate(db, (*MIGRATIONS, *more)) == ["change 2"]
        assert schema.migrate(db, (*MIGRATIONS, *more)) == []
    assert ran == ["change 0", "change 1", "change 2"]


MIGRATOR = r"""
import sqlite3, sys
from pathlib import Path
from bench.log import schema
from bench.log.tables import MIGRATIONS

def many(db):
    for n in range(60):
        db.execute(f"CREATE TABLE extra_{n} (x INTEGER, y BLOB) STRICT")
        db.execute(f"INSERT INTO extra_{n} VALUES (1, zeroblob(20000))")

db = schema.connect(Path(sys.argv[1]))
print("go", flush=True)
schema.migrate(db, (*MIGRATIONS, ("many", many)))
print("done", flush=True)
"""


def kill_changes(path, moments: int) -> set[int]:
    """Kill a change at evenly spread moments; returns how many of its tables were ever seen."""
    seen = set()
    for moment in range(moments):
        path.unlink(missing_ok=True)
        process = subprocess.Popen([sys.executable, "-c", MIGRATOR, str(path)], stdout=subprocess.PIPE)
        with process:
            process.stdout.readline()
            time.sleep(0.06 * moment / moments)
            process.send_signal(signal.SIGKILL)
        with closing(sqlite3.connect(path)) as db:
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            count = db.execute("SELECT count(*) FROM sqlite_schema WHERE name LIKE 'extra_%'").fetchone()[0]
            version = db.execute("PRAGMA user_version").fetchone()[0]
            records = db.execute("SELECT count(*) FROM migration").fetchone()[0]
        assert version == records == len(MIGRATIONS) + (count > 0)
        seen.add(count)
    return seen


def test_a_killed_change_is_old_or_new_never_between(path) -> None:
    assert kill_changes(path, 4) <= {0, 60}


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_change_killed_at_fifty_moments(path) -> None:
    assert kill_changes(path, 50) == {0, 60}


def everything_in(folder) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in os.listdir(folder) if not name.endswith(".lock")}


def test_a_newer_log_is_refused_with_its_bytes_unchanged(path, live) -> None:
    life = live()
    life.whole_check("run-1")
    life.writer.close()
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    before = everything_in(path.parent)
    for _ in range(2):
        with pytest.raises(LogNewer, match="newer program"):
            live()
        with pytest.raises(LogNewer, match="newer program"), read.open_read(path):
            pass
    assert everything_in(path.parent) == before


def test_a_newer_log_is_seen_even_if_only_its_write_ahead_log_says_so(path, live, tmp_path_factory) -> None:
    """Killed before a checkpoint, the newer program's change stands in the -wal file alone."""
    life = live()
    life.whole_check("run-1")
    life.writer.close()
    elsewhere = tmp_path_factory.mktemp("killed") / path.name
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_autocheckpoint = 0")
        db.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        for suffix in ("", "-wal"):
            source = path.with_name(path.name + suffix)
            elsewhere.with_name(elsewhere.name + suffix).write_bytes(source.read_bytes())
    before = everything_in(elsewhere.parent)
    with pytest.raises(LogNewer, match="newer program"):
        live(at=elsewhere)
    assert everything_in(elsewhere.parent) == before


def test_somebody_elses_database_is_left_alone(path, live) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE recipes (x)")
        db.execute("PRAGMA user_version = 7")
    before = everything_in(path.parent)
    with pytest.raises(LogUnknown, match="some other program"):
        live()
    assert everything_in(path.parent) == before


def test_an_empty_file_becomes_a_log(path, live) -> None:
    path.touch()
    life = live()
    life.whole_check("run-1")
    assert life.writer.close()
    assert life.writer.unfinished.words == []


def test_no_file_no_log(path) -> None:
    with pytest.raises(LogError, match="there is no log at"), read.open_read(path):
        pass
