"""The log's folder or file removed, moved away or replaced under a running writer: noticed, and never two writers on
one path."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import subprocess
from contextlib import closing

import pytest

from bench.log import committer
from bench.log.findings import list_findings
from bench.log.read_only import open_read
from bench.log.rows import LogError, LogHeld
from bench.log.schema import APPLICATION_ID, SCHEMA_VERSION, refuse_foreign
from hw import timeouts


def findings(path) -> list[str]:
    with open_read(path) as db:
        return [row.finding.id for row in list_findings(db)]


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "kept"


@pytest.fixture
def life(live, folder):
    life = live(at=folder / "log.sqlite")
    life.whole_check("run-1")
    life.begin("run-2")
    life.sweep("s-1", "run-2")
    assert life.writer.flush()
    return life


def finish(life) -> None:
    """The check in progress goes on in the log."""
    life.sweep("s-2", "run-2")
    life.writer.finish("run-2")
    life.whole_check("run-3")
    assert life.writer.flush(10.0)


@pytest.mark.parametrize("what", ["folder", "folder that cannot be made", "file", "file and its companions"])
def test_what_was_removed_is_there_again_with_all_that_was_kept(what, life, folder) -> None:
    path = folder / "log.sqlite"
    if what.startswith("folder"):
        shutil.rmtree(folder)
        if what != "folder":
            folder.touch()
            life.writer.event("run-2", "something")
            life.until(lambda: life.troubles and "readings go on" in life.troubles[-1])
            folder.unlink()
    elif what == "file":
        path.unlink()
    else:
        for file in folder.glob("log.sqlite*"):
            file.unlink()
    finish(life)
    assert "NOT RECORDED: the log was removed or replaced" in life.troubles[0]
    assert life.troubles[-1] is None
    assert not any(saved.refused for saved in life.saved)
    assert findings(path) == ["run-1-f", "run-3-f"]
    with open_read(path) as db:
        states = dict(db.execute("SELECT sweep, state FROM sweep WHERE sweep LIKE 's-%'"))
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert states == {"s-1": "whole", "s-2": "whole"}


def test_it_is_noticed_while_nothing_is_written(live, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(timeouts, "LOG_IDLE_LOOK_S", 0.05)
    life = live(at=tmp_path / "kept" / "log.sqlite")
    life.whole_check("run-1")
    assert life.writer.flush()
    shutil.rmtree(tmp_path / "kept")
    life.until(lambda: life.troubles and life.troubles[-1] is None)
    assert findings(tmp_path / "kept" / "log.sqlite") == ["run-1-f"]


def test_a_folder_moved_away_is_left_and_a_new_log_begun(life, folder, tmp_path) -> None:
    folder.rename(tmp_path / "elsewhere")
    life.whole_check("run-3")
    assert life.writer.flush(10.0)
    assert "removed or replaced" in life.troubles[0]
    assert findings(folder / "log.sqlite") == ["run-3-f"]
    assert findings(tmp_path / "elsewhere" / "log.sqlite") == ["run-1-f"]
    # the check that was begun in the other is not known here: what comes of it is refused, and not told as saved
    ticket = life.writer.start_sweep("s-9", "run-2", "handle-right")
    assert life.writer.flush()
    assert [number for saved in life.saved for number, _ in saved.refused] == [ticket]


def test_removed_in_the_middle_of_a_commit_nothing_is_told_before_it_is_at_its_path(
    life, folder, monkeypatch
) -> None:
    really, path = committer.entries.note_ticket, folder / "log.sqlite"
    there: list[bool] = []

    def note(db, key, ticket) -> None:
        really(db, key, ticket)
        if not there:
            there.append(path.exists())
            shutil.rmtree(folder)

    monkeypatch.setattr(committer.entries, "note_ticket", note)
    told = len(life.saved)
    life.whole_check("run-3")
    life.until(lambda: len(life.saved) > told)
    assert there == [True]
    assert life.writer.flush(10.0)
    assert findings(path) == ["run-1-f", "run-3-f"]
    with open_read(path) as db:  # once, though it was committed before it was found gone
        assert db.execute("SELECT count(*) FROM finding WHERE finding = 'run-3-f'").fetchone()[0] == 1


def test_the_first_writer_leaves_the_path_to_a_second(life, live, folder, tmp_path) -> None:
    """It says so, keeps what it was given in memory, and writes it once the second has ended."""
    path = folder / "log.sqlite"
    folder.rename(tmp_path / "elsewhere")
    second = live("boot-b", at=path)
    second.whole_check("second")
    assert second.writer.flush()
    life.whole_check("run-3")
    life.until(lambda: life.troubles and "is held by process" in life.troubles[-1])
    assert life.troubles[-1].startswith("NOT RECORDED: ")
    told = len(life.saved)
    assert findings(path) == ["second-f"]
    with pytest.raises(LogHeld):
        live("boot-c", at=path)
    second.writer.close()
    assert life.writer.flush(10.0)
    assert life.troubles[-1] is None
    assert len(life.saved) > told
    assert sorted(findings(path)) == ["run-3-f", "second-f"]


def test_one_log_by_two_names_has_one_writer(life, live, folder, tmp_path) -> None:
    (tmp_path / "other.sqlite").symlink_to(folder / "log.sqlite")
    with pytest.raises(LogHeld):
        live("boot-b", at=tmp_path / "other.sqlite")


def test_the_first_closing_takes_nothing_from_the_second(life, live, folder) -> None:
    """SQLite removes a log's companions by their name at the end; they are the second's by then."""
    path = folder / "log.sqlite"
    shutil.rmtree(folder)
    second = live("boot-b", at=path)
    second.whole_check("second")
    assert second.writer.flush()
    life.writer.close()
    second.whole_check("after")
    assert second.writer.flush()
    assert findings(path) == ["second-f", "after-f"]
    with open_read(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def on_disk(path, tmp_path) -> list[str]:
    """The passes of run-2 that another start would find if the power went now."""
    copy = tmp_path / "after-the-cut"
    shutil.rmtree(copy, ignore_errors=True)
    copy.mkdir()
    files = [file for file in (path, path.with_name(path.name + "-wal")) if file.exists()]
    subprocess.run(["cp", *files, copy], check=True)  # a copy made in this process would drop SQLite's locks
    with contextlib.closing(sqlite3.connect(copy / path.name)) as db:
        rows = db.execute("SELECT sweep FROM sweep WHERE sweep LIKE 's-%' AND state = 'whole' ORDER BY 1")
        return [sweep for (sweep,) in rows]


@pytest.mark.parametrize("gone", [("-wal",), ("-wal", "-shm"), ("-shm",)], ids="".join)
@pytest.mark.parametrize("read_meanwhile", [False, True])
def test_a_write_ahead_file_removed_by_hand_is_made_anew_with_all_that_was_saved(
    gone, read_meanwhile, life, folder, tmp_path
) -> None:
    path = folder / "log.sqlite"
    for suffix in gone:
        path.with_name(path.name + suffix).unlink()
    with contextlib.ExitStack() as stack:
        if read_meanwhile:  # as the daemon itself does to answer; it may fail, and hinders nothing
            with contextlib.suppress(LogError):
                stack.enter_context(open_read(path)).execute("SELECT count(*) FROM finding").fetchone()
        life.sweep("s-2", "run-2")
        assert life.writer.flush(10.0)
        assert on_disk(path, tmp_path) == ["s-1", "s-2"]
    if gone == ("-shm",):  # only an index: nothing is in it that is not in the write-ahead file
        assert life.troubles == []
    else:
        assert "NOT RECORDED: the write-ahead file of the log was removed" in life.troubles[0]
        assert life.troubles[-1] is None
    life.sweep("s-3", "run-2")
    life.writer.finish("run-2")
    life.whole_check("run-3")
    assert life.writer.flush(10.0)
    assert not any(saved.refused for saved in life.saved)
    assert on_disk(path, tmp_path) == ["s-1", "s-2", "s-3"]
    assert findings(path) == ["run-1-f", "run-3-f"]
    with open_read(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert db.execute("SELECT count(*) FROM event WHERE kind = 'log-lacks'").fetchone()[0] == 0


def test_a_write_ahead_file_removed_at_rest_is_noticed(life, folder, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(timeouts, "LOG_IDLE_LOOK_S", 0.05)
    path = folder / "log.sqlite"
    path.with_name(path.name + "-wal").unlink()
    life.until(lambda: life.troubles and life.troubles[-1] is None)
    assert on_disk(path, tmp_path) == ["s-1"]


def test_a_write_ahead_file_that_ends_in_the_head_of_a_page_is_opened(tmp_path) -> None:
    path, torn = tmp_path / "log.sqlite", tmp_path / "torn.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        marks = f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {SCHEMA_VERSION}"
        db.executescript(f"PRAGMA journal_mode = WAL; {marks}; CREATE TABLE one (n)")
        wal = path.with_name(path.name + "-wal")
        # SQLite's file format, section 4: a head of 32 bytes, then each page with its own head of 24
        page = db.execute("PRAGMA page_size").fetchone()[0]
        starts = range(32, wal.stat().st_size, 24 + page)
        data = wal.read_bytes()
        last = max(at for at in starts if int.from_bytes(data[at : at + 4], "big") == 1)
        torn.write_bytes(path.read_bytes())
        torn.with_name(torn.name + "-wal").write_bytes(data[: last + 24])
    refuse_foreign(torn)
