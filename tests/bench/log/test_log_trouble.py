"""A full, failing or read-only disk: nothing raises, nothing saved is lost, and it comes back by itself."""

from __future__ import annotations

import resource
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager

import pytest

from bench.log import entries, write_queue
from bench.log.findings import list_findings
from bench.log.read_only import open_read
from hw import timeouts
from tests.bench.log.conftest import load_raw_readings


@contextmanager
def no_file_may_grow_beyond(size: int) -> Iterator[None]:
    """Writes beyond it fail with an I/O error, as the kernel gives for a failing medium."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_failing_disk_is_told_and_recovers(live, path) -> None:
    life = live()
    life.whole_check("run-1")
    life.writer.flush()
    before = life.saved[-1].upto
    with no_file_may_grow_beyond(1000):
        life.whole_check("run-2")
        life.until(lambda: bool(life.troubles))
        assert life.writer.trouble is not None
        assert life.writer.trouble.startswith("NOT RECORDED: the disk reports an error")
        time.sleep(0.4)
        assert life.saved[-1].upto == before  # nothing is told that is not so
    assert life.writer.flush(6.0)
    assert life.troubles[-1] is None
    assert [saved.refused for saved in life.saved if saved.refused] == []
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == ["run-1-f", "run-2-f"]


def test_a_failing_disk_at_the_start_is_trouble_not_an_end(live, path) -> None:
    with no_file_may_grow_beyond(1000):
        life = live()
        life.whole_check("run-1")
        assert life.writer.trouble is not None
    assert life.writer.flush(6.0)
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == ["run-1-f"]


def test_a_commit_that_happened_and_was_reported_as_failed_is_not_done_twice(live, path, monkeypatch) -> None:
    life = live()
    life.begin()
    life.writer.start_sweep("s", "run-1", "-")
    life.writer.flush()
    noted = entries.note_ticket
    failures = iter([True])

    def note_and_fail(db: sqlite3.Connection, boot_key: int, ticket: int) -> None:
        noted(db, boot_key, ticket)
        if next(failures, False):
            db.execute("COMMIT")
            raise sqlite3.OperationalError("the disk reports an error after the fact")

    monkeypatch.setattr(entries, "note_ticket", note_and_fail)
    life.writer.queue.put_block("s", "indicator", b"once", [1000])
    end = life.writer.end_sweep("s", "whole")
    assert life.writer.flush()
    assert len(life.troubles) == 2
    assert [saved.refused for saved in life.saved if saved.refused] == []
    assert [saved.sweeps for saved in life.saved if saved.upto >= end] == [("s",)]
    with open_read(path) as db:
        assert load_raw_readings(db, "s") == {"indicator": (b"once", [1])}


def test_closing_while_the_disk_fails_ends_in_time_and_says_no(live, monkeypatch) -> None:
    monkeypatch.setattr(timeouts, "LOG_CLOSE_S", 0.2)
    life = live()
    with no_file_may_grow_beyond(0):
        life.begin()
        assert not life.writer.close()  # and is not waited for any longer


def test_a_full_disk_loses_nothing_saved_and_is_left_behind(small_disk, live) -> None:
    path = small_disk.folder / "log.sqlite"
    small_disk("remount,size=1m")
    life = live(at=path)
    names = []
    for number in range(400):
        life.whole_check(f"run-{number}")
        names.append(f"run-{number}-f")
        life.writer.flush(0.3)
        if life.troubles:
            break
    assert "the disk is full" in life.troubles[0]
    for number in range(50):  # what filled it may have been the merge after a saved result
        life.whole_check(f"full-{number}")
        names.append(f"full-{number}-f")
        if not life.writer.flush(0.3):
            break
    told = [name for saved in life.saved for name in saved.findings]
    with open_read(path) as db:
        kept = [row.finding.id for row in list_findings(db)]
    assert set(told) <= set(kept)
    assert len(kept) < len(names)
    small_disk("remount,size=4m")
    life.until(lambda: life.troubles[-1] is None)
    assert life.writer.flush()
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == names


def test_a_read_only_medium_is_read_and_not_written(small_disk, live) -> None:
    path = small_disk.folder / "log.sqlite"
    first = live(at=path)
    first.whole_check("run-1")
    first.begin("run-2")
    first.sweep("half", "run-2")
    first.writer.close()
    small_disk("remount,ro,size=4m")
    life = live("boot-b", at=path)
    assert "read-only" in life.troubles[0]
    assert [run.run for run in life.writer.unfinished.runs] == ["run-2"]
    life.whole_check("run-3")
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == ["run-1-f"]
    small_disk("remount,rw,size=4m")
    assert life.writer.flush(6.0), "\n".join(map(str, life.troubles))
    assert life.troubles[-1] is None
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == ["run-1-f", "run-3-f"]


def test_a_folder_that_cannot_be_made_is_trouble(live, tmp_path) -> None:
    (tmp_path / "file").touch()
    life = live(at=tmp_path / "file" / "log.sqlite")
    assert life.writer.trouble is not None
    life.begin()
    (tmp_path / "file").unlink()
    assert life.writer.flush(6.0)


@pytest.mark.parametrize(
    "more", [lambda writer: writer.event(None, "tick"), lambda writer: writer.check_stall()]
)
def test_a_disk_that_does_not_answer_is_told_whether_or_not_more_is_given(
    live, path, monkeypatch, more
) -> None:
    """The stall is another program's long transaction."""
    monkeypatch.setattr(timeouts, "LOG_STALL_S", 0.0)
    life = live()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        life.begin()
        more(life.writer)
        assert "has not answered for 0" in life.troubles[0]
        other.execute("ROLLBACK")
    assert life.writer.flush()
    assert life.troubles[-1] is None


def test_what_found_no_room_is_reported_as_refused(live, path, monkeypatch) -> None:
    """Its ticket is awaited like any other, so that nobody is told that it was saved."""
    life = live()
    life.begin()
    life.writer.flush()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        monkeypatch.setattr(write_queue, "QUEUE_BYTES", 0)
        monkeypatch.setattr(write_queue, "QUEUE_RESERVE_BYTES", 0)
        before = life.writer.awaited
        assert life.writer.abandon("run-1") == write_queue.NOT_QUEUED
        assert life.writer.awaited == before + 1
        assert "memory for what waits is full" in life.troubles[0]
        other.execute("ROLLBACK")
    assert life.writer.flush()
    assert [refused for saved in life.saved for refused in saved.refused] == [
        (before + 1, "the memory for what waits was full")
    ]


def test_what_comes_after_closing_is_never_saved(live) -> None:
    life = live()
    life.begin()
    assert life.writer.close()
    life.writer.abandon("run-1")
    assert life.writer.awaited > life.saved[-1].upto
    assert not life.writer.close()


def test_a_small_disk_that_the_write_ahead_file_filled_is_left_behind(small_disk, live) -> None:
    """Somebody who reads keeps it from being merged; it must leave room to be merged once they end."""
    path = small_disk.folder / "log.sqlite"
    small_disk("remount,size=1m")
    life = live(at=path)
    life.whole_check("run-0")
    assert life.writer.flush()
    names = ["run-0-f"]
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM event").fetchone()
        for number in range(1, 2000):
            life.whole_check(f"run-{number}")
            names.append(f"run-{number}-f")
            life.writer.flush(0.3)
            if life.troubles:
                break
        assert "the disk is full" in life.troubles[0]
    life.until(lambda: life.troubles[-1] is None)
    assert life.writer.flush()
    assert len(life.troubles) == 2  # told once, and once that it is over
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == names
