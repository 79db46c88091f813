"""The writer on real files: what is told as saved is there, what is left unfinished is found."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing

import msgspec
import pytest

from bench.checks.model import Evidence, LeanTest, Pool, PriorKnowledge, TapTest, Trace
from bench.log import write_queue
from bench.log.events import list_events
from bench.log.findings import find_finding, list_findings, list_moves
from bench.log.read_only import open_read
from bench.log.recover import list_open_checks, list_sweeps
from bench.log.rows import Commit
from bench.log.write_queue import NOT_QUEUED, QUEUE_BYTES
from bench.log.writer import LogWriter
from tests.bench.log.conftest import load_raw_readings


def test_what_is_saved_comes_back_as_it_went_in(live, path) -> None:
    life = live()
    finding, evidence = life.whole_check("run-1")
    assert life.writer.flush()
    assert life.writer.close()
    assert [sweep for saved in life.saved for sweep in saved.sweeps] == [f"run-1-s{n}" for n in range(3)]
    assert [name for saved in life.saved for name in saved.findings] == ["run-1-f"]
    assert life.troubles == []
    with open_read(path) as db:
        assert find_finding(db, "run-1-f") == (finding, evidence)
        assert list_open_checks(db) == []
        raw, arrivals = load_raw_readings(db, "run-1-s0")["indicator"]
    assert raw == b"".join(b"%+09.4f, MM\r\n" % value for value in evidence.traces[0].reading)
    assert arrivals == [20_000 * n for n in range(50)]


def test_evidence_that_json_cannot_say_comes_back_too(live, path, make) -> None:
    life = live()
    life.begin()
    known = PriorKnowledge(pool=Pool(1e-10, float("inf")))
    evidence = Evidence("fence-square", [Trace("handle-left", [1.0], [-0.0])], known=known)
    life.writer.finding("run-1", make.found("f"), evidence)
    life.writer.close()
    with open_read(path) as db:
        again = find_finding(db, "f")[1]
    assert again == evidence
    assert str(again.traces[0].reading) == "[-0.0]"


def test_saved_is_told_after_the_commit_never_before(path) -> None:
    """Another connection, at the moment of telling, sees all that was told."""
    seen: list[tuple[int, int]] = []

    def look(saved: Commit) -> None:
        with closing(sqlite3.connect(path)) as other:
            count = other.execute("SELECT count(*) FROM event WHERE kind = 'tick'").fetchone()[0]
        seen.append((saved.upto, count))

    writer = LogWriter.open(path, boot_id="b", program="t", on_saved=look, on_trouble=print)
    for _ in range(20):
        writer.event(None, "tick")
        time.sleep(0.005)
    writer.close()
    assert seen[-1] == (20, 20)
    assert all(upto <= count for upto, count in seen)


def test_chunks_wait_for_company_and_a_sweeps_end_does_not(live, path, monkeypatch) -> None:
    life = live()
    life.begin()
    life.writer.start_sweep("s", "run-1", "-")
    life.writer.flush()
    told = len(life.saved)
    monkeypatch.setattr(write_queue, "BLOCK_GROUP_S", 0.4)
    began = time.monotonic()
    for n in range(5):
        life.writer.queue.put_block("s", "indicator", b"x", [n])
    life.until(lambda: len(life.saved) > told)
    assert time.monotonic() - began > 0.8 * 0.4
    assert len(life.saved) == told + 1  # five chunks, one commit, one row
    with open_read(path) as db:
        assert db.execute("SELECT raw, readings FROM chunk").fetchall() == [(b"xxxxx", 5)]
    monkeypatch.setattr(write_queue, "BLOCK_GROUP_S", 1000.0)
    ticket = life.writer.end_sweep("s", "whole")
    life.until(lambda: life.saved[-1].upto >= ticket)  # at once, or never in this test's life


def test_a_check_in_progress_is_found_again(live, path) -> None:
    life = live()
    life.begin(instrument="cable 3", hold="left")
    trace = life.sweep("s-0")
    life.writer.event("run-1", "lean", {"placement": "handle-right", "left": -0.01, "right": 0.02})
    life.writer.event("run-1", "tap", {"placement": "-", "before": 2.5, "after": 2.52, "came_back": False})
    life.sweep("s-1")
    life.writer.undo_sweep("s-1", "a sneeze")
    life.writer.start_sweep("s-2", "run-1", "handle-left")
    life.writer.queue.put_block("s-2", "indicator", b"x" * 7, [1000, 2000, 3000])
    life.writer.queue.put_block("s-2", "travel", b"y" * 7, [1500])
    life.writer.close()
    again = live("boot-b")
    left = again.writer.unfinished
    (run,) = left.runs
    assert (run.run, run.check, run.jig) == ("run-1", "fence-square", "big-sled")
    assert [(s.sweep, s.state, s.trace == trace) for s in run.sweeps] == [
        ("s-0", "whole", True),
        ("s-1", "undone", False),
        ("s-2", "running", False),
    ]
    assert [event.kind for event in run.events] == [
        "begun", "sweep-started", "sweep-ended", "lean", "tap", "sweep-started", "sweep-ended", "sweep-undone",
        "sweep-started",
    ]  # fmt: skip
    assert "3 readings are kept" in left.words[0]
    assert "Passes kept: 1." in left.words[1]
    again.writer.flush()
    with open_read(path) as db:
        columns = db.execute("SELECT instrument, hold, json(options_json) FROM check_run").fetchone()
        assert columns == ("cable 3", "left", '{"sweeps":3,"radius":90.5}')
        assert [s.state for s in list_sweeps(db, "run-1")] == ["whole", "undone", "interrupted"]
        whole = [sweep.trace for sweep in list_sweeps(db, "run-1") if sweep.state == "whole"]
        events = {event.kind: event.data for event in list_events(db, "run-1")}
        assert load_raw_readings(db, "s-2") == {"indicator": (b"x" * 7, [1, 2, 3]), "travel": (b"y" * 7, [1])}
    assert whole == [trace]
    lean = msgspec.convert(events["lean"], LeanTest)
    assert (lean.left, lean.right) == (-0.01, 0.02)
    assert msgspec.convert(events["tap"], TapTest) == TapTest("-", 2.5, 2.52, False)
    again.writer.abandon("run-1", "left lying")
    again.writer.close()
    assert live("boot-c").writer.unfinished.words == []


def test_an_undone_sweep_keeps_its_readings(live, path) -> None:
    life = live()
    life.begin()
    trace = life.sweep("s")
    life.writer.undo_sweep("s")
    life.writer.close()
    with open_read(path) as db:
        (sweep,) = list_sweeps(db, "run-1")
        assert (sweep.state, sweep.trace) == ("undone", trace)
        assert list_events(db, "run-1")[-1].data == {"sweep": "s", "was": "whole"}


def test_a_block_that_comes_after_the_end_is_not_lost(live, path) -> None:
    life = live()
    life.begin()
    life.writer.start_sweep("s", "run-1", "-")
    life.writer.queue.put_block("s", "indicator", b"before", [1000])
    life.writer.end_sweep("s", "whole")
    life.writer.queue.put_block("s", "indicator", b" after", [2000])
    life.writer.close()
    with open_read(path) as db:
        assert load_raw_readings(db, "s") == {"indicator": (b"before after", [1, 2])}
        assert db.execute("SELECT count(*) FROM chunk").fetchone() == (0,)


def test_moves_and_what_replaces_what(live, path, make) -> None:
    life = live()
    life.whole_check("run-1")
    life.writer.move_planned("m", "run-1-f", make.move)
    life.writer.move_made("m", {"leaves_mm": [0.15], "drew_mm": 0.03})
    life.begin("run-2")
    life.writer.finding("run-2", make.found("early"), Evidence("fence-square"))
    life.writer.finding("run-2", make.found("late"), Evidence("fence-square"), supersedes="early")
    life.writer.move_verified("m", "late")
    assert life.writer.close()
    assert [saved.refused for saved in life.saved if saved.refused] == []
    with open_read(path) as db:
        (move,) = list_moves(db)
        rows = list_findings(db)
        kinds = [event.kind for event in list_events(db) if event.kind.startswith("move")]
    assert (move.plan, move.made, move.verified_by) == (
        make.move,
        {"leaves_mm": [0.15], "drew_mm": 0.03},
        "late",
    )
    assert [(row.finding.id, row.superseded_by) for row in rows] == [
        ("run-1-f", None),
        ("early", "late"),
        ("late", None),
    ]
    assert kinds == ["move-planned", "moved", "move-verified"]


@pytest.mark.parametrize(
    ("act", "why"),
    [
        (lambda writer, make: writer.end_sweep("nothing", "whole"), "knows no sweep 'nothing'"),
        (lambda writer, make: writer.event("nobody", "x"), "knows no check 'nobody'"),
        (lambda writer, make: writer.event(None, "x", {"bad": object()}), "not JSON serializable"),
        (lambda writer, make: writer.move_planned("m", "none", make.move), "knows no finding 'none'"),
        (lambda writer, make: writer.queue.put_block("s", "indicator", b"", [2**90]), "too big"),
    ],
)
def test_an_act_the_log_cannot_take_is_told_and_stops_nothing(live, path, make, caplog, act, why) -> None:
    life = live()
    life.begin()
    life.writer.start_sweep("s", "run-1", "-")
    bad = act(life.writer, make)
    good = life.writer.event(None, "after")
    assert life.writer.flush()
    refused = [refusal for saved in life.saved for refusal in saved.refused]
    assert [ticket for ticket, _ in refused] == [bad]
    assert life.saved[-1].upto == good
    assert life.troubles == []
    with open_read(path) as db:
        events = {event.kind: event.data for event in list_events(db)}
    assert "after" in events
    assert why in str(events["refused-by-log"]["why"])


def test_an_id_used_twice_is_refused_and_the_first_stays(live, path, caplog) -> None:
    life = live()
    life.begin()
    first = life.sweep("s")
    life.sweep("s")
    life.writer.close()
    assert sum(len(saved.refused) for saved in life.saved) == 2  # begun twice, ended twice
    with open_read(path) as db:
        assert [sweep.trace for sweep in list_sweeps(db, "run-1")] == [first]


@pytest.mark.ci
def test_a_stalled_disk_fills_the_queue_to_a_limit_and_says_so(live, path) -> None:
    """The stall is another program's long transaction: to the writer it looks as a disk that does not answer."""
    life = live()
    life.begin()
    life.writer.start_sweep("s", "run-1", "-")
    life.writer.flush()
    block = b"x" * 200_000
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        tickets = [life.writer.queue.put_block("s", "indicator", block, [n]) for n in range(120)]
        end = life.writer.end_sweep("s", "whole")
        other.execute("ROLLBACK")
    kept = sum(ticket != NOT_QUEUED for ticket in tickets)
    assert QUEUE_BYTES * 0.95 < kept * len(block) <= QUEUE_BYTES
    assert end != NOT_QUEUED
    assert life.troubles[0] is not None
    assert life.troubles[0].startswith("NOT RECORDED")
    assert life.writer.flush(10)
    assert life.troubles[-1] is None
    with open_read(path) as db:
        assert len(load_raw_readings(db, "s")["indicator"][1]) == kept
        (lost,) = [event.data for event in list_events(db) if event.kind == "not-recorded"]
    assert lost["readings"] == len(tickets) - kept


def test_a_log_moved_away_under_the_writer_starts_anew(live, path, caplog) -> None:
    life = live()
    life.whole_check("run-1")
    life.writer.flush()
    path.rename(path.with_name("elsewhere.sqlite"))
    life.whole_check("run-2")
    assert life.writer.flush()
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)][-1] == "run-2-f"
    assert life.writer.unfinished.about_log  # what was in the other is missed, or was still in the -wal


def test_closing_twice_and_recording_after_closing_harm_nothing(live) -> None:
    life = live()
    assert life.writer.close()
    assert life.writer.close()
    assert life.begin() == NOT_QUEUED


def test_a_log_at_a_link_is_written_where_it_leads(live, tmp_path) -> None:
    """On another disk, say; SQLite lays the write-ahead file there, too."""
    there = tmp_path / "stick"
    there.mkdir()
    (tmp_path / "link.sqlite").symlink_to(there / "log.sqlite")
    life = live("linked", at=tmp_path / "link.sqlite")
    life.whole_check("linked")
    assert life.writer.flush(10)
    life.writer.close()
    with open_read(there / "log.sqlite") as db:
        assert [row.finding.id for row in list_findings(db)] == ["linked-f"]
