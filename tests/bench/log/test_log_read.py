"""Reading beside a writer, from a read-only copy, in lists, by filters, and out to other programs."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

from bench.checks.model import Evidence, Trace
from bench.cli import cli
from bench.finding import Finding
from bench.log import export, history
from bench.log.findings import FindingRow, find_finding, list_findings
from bench.log.read_only import open_read
from bench.log.rows import LogError


def ids(rows: list[FindingRow]) -> list[str]:
    return [row.finding.id for row in rows]


def test_lists_by_jig_check_time_and_number(live, path, make) -> None:
    clock = make.Clock()
    life = live(clock=clock)
    for number in range(4):
        life.whole_check(f"run-{number}", jig="big-sled" if number % 2 else "small-sled")
        life.writer.flush()
        clock.wall_s += 86_400
    with open_read(path) as db:
        assert ids(list_findings(db)) == [f"run-{n}-f" for n in range(4)]
        assert ids(list_findings(db, jig="small-sled")) == ["run-0-f", "run-2-f"]
        assert ids(list_findings(db, check="rip-fence")) == []
        assert ids(list_findings(db, last=2)) == ["run-2-f", "run-3-f"]


def test_dates_are_put_right_once_the_clock_is_known(live, path, make) -> None:
    """A Pi without a clock chip wakes up in 1970 and learns the time later; order never depends on it."""
    clock = make.Clock(monotonic_s=50.0, wall_s=100.0, synced=False)
    life = live("boot-1970", clock=clock)
    life.whole_check("before")
    clock.monotonic_s += 600.0
    clock.wall_s, clock.synced = 1_900_000_600.0, True
    life.writer.event(None, "clock")
    life.whole_check("after")
    life.writer.close()
    never = live("boot-never", clock=make.Clock(wall_s=200.0, synced=False))
    never.whole_check("never")
    never.writer.close()
    with open_read(path) as db:
        before, after, unknown = list_findings(db)
        stored = db.execute("SELECT wall_s FROM finding ORDER BY finding_key").fetchall()
    assert before.wall_s == pytest.approx(1_900_000_000.0, abs=0.1)
    assert after.wall_s == pytest.approx(1_900_000_600.0, abs=0.1)
    assert [row.synced for row in (before, after, unknown)] == [True, True, False]
    assert stored[0][0] < 200.0  # what was recorded stays as it was recorded


def test_a_finding_by_the_beginning_of_its_id(live, path) -> None:
    life = live()
    life.whole_check("abc-1")
    life.whole_check("abd-2")
    life.whole_check("ab%_x")
    life.writer.flush()
    with open_read(path) as db:
        assert find_finding(db, "abc")[0].id == "abc-1-f"
        assert find_finding(db, "ab%")[0].id == "ab%_x-f"
        with pytest.raises(LogError, match="several findings begin with 'ab'"):
            find_finding(db, "ab")
        with pytest.raises(LogError, match="no finding 'zz'"):
            find_finding(db, "zz")


def test_reading_while_the_daemon_writes(live, path) -> None:
    life = live()
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            life.whole_check(f"run-{number:04}", sweeps=1)
            number += 1
            time.sleep(0.002)

    writing = threading.Thread(target=write)
    writing.start()
    try:
        before = 0
        for _ in range(30):
            with open_read(path) as db:
                rows = list_findings(db)
                for row in rows[-2:]:
                    assert len(find_finding(db, row.finding.id)[1].traces) == 1
            assert ids(rows) == [f"run-{n:04}-f" for n in range(len(rows))]
            assert len(rows) >= before
            before = len(rows)
    finally:
        stop.set()
        writing.join()
    assert life.troubles == []


def test_a_killed_writers_log_is_read_whole_on_a_medium_of_somebody_else(
    live, path, tmp_path_factory, monkeypatch
) -> None:
    """What stands only in the -wal file counts, and nothing is left beside a file that is not ours."""
    life = live()
    life.whole_check("run-1")
    life.writer.flush()
    folder = tmp_path_factory.mktemp("card")
    both = {}  # at one moment, as a card pulled out of a running Pi; the writer may be merging just now
    while both != (
        both := {file.name: file.read_bytes() for file in (path, path.with_name(f"{path.name}-wal"))}
    ):
        pass
    for name, held in both.items():
        (folder / name).write_bytes(held)
    assert (folder / (path.name + "-wal")).stat().st_size > 0
    before = {file: file.read_bytes() for file in folder.iterdir()}
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    with open_read(folder / path.name) as db:
        assert ids(list_findings(db)) == ["run-1-f"]
        with pytest.raises(sqlite3.OperationalError):
            db.execute("DELETE FROM finding")
    assert {file: file.read_bytes() for file in folder.iterdir()} == before


def test_a_log_whose_merging_was_cut_short_is_read_whole(live, path, tmp_path_factory, monkeypatch) -> None:
    """The first page was merged, which counts more pages than the file has yet: the rest stands in the -wal file.

    Its format: https://www.sqlite.org/fileformat2.html#walformat (a header of 32 bytes, then frames: 24 bytes and a
    page; the first four bytes of a frame are the number of its page).
    """
    life = live()
    life.whole_check("run-1")
    life.writer.close()
    life = live("boot-b")
    with closing(sqlite3.connect(path)) as reader:
        reader.execute("BEGIN").execute(
            "SELECT count(*) FROM finding"
        ).fetchone()  # nothing is merged meanwhile
        for number in range(2, 12):
            life.whole_check(f"run-{number}")
        assert life.writer.flush()
        log, wal = (bytearray(path.with_name(path.name + suffix).read_bytes()) for suffix in ("", "-wal"))
    size = int.from_bytes(log[16:18], "big")
    frames = [wal[at : at + 24 + size] for at in range(32, len(wal), 24 + size)]
    log[:size] = next(frame[24:] for frame in reversed(frames) if int.from_bytes(frame[:4], "big") == 1)
    assert int.from_bytes(log[28:32], "big") * size > len(log)
    folder = tmp_path_factory.mktemp("card")
    (folder / path.name).write_bytes(log)
    (folder / f"{path.name}-wal").write_bytes(wal)
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    with open_read(folder / path.name) as db:
        assert ids(list_findings(db)) == [f"run-{number}-f" for number in range(1, 12)]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may become a member of another group")
def test_a_member_of_the_services_group_reads_all_of_it(live) -> None:
    """As the unit makes it: the folder 0750, its umask; while it is written to, and afterwards."""
    unit = (Path(__file__).parents[3] / "systemd/sweepgauge.service").read_text()
    folder = Path(tempfile.mkdtemp(prefix="service-"))  # every way to the tests' own is closed to others
    path = folder / "log.sqlite"
    before = os.umask(int(unit.split("UMask=")[1][:4], 8))
    try:
        with member() as ids_at:
            life = live(at=path)
            for run in ("run-1", "run-2"):
                life.whole_check(run)
                assert life.writer.flush()
                assert ids_at(path) == [*("run-1-f", "run-2-f")[: int(run[-1])]]
            life.writer.close()
            assert ids_at(path) == ["run-1-f", "run-2-f"]
    finally:
        os.umask(before)
        shutil.rmtree(folder)


# imports all first: the folder of the interpreter may be closed to the member
MEMBER = """
import os, sys
from pathlib import Path
from bench.log.findings import list_findings
from bench.log.read_only import open_read
group = int(sys.argv[1])
os.setgroups([group])
os.setgid(group + 1)
os.setuid(group + 1)
for line in sys.stdin:
    with open_read(Path(line.strip())) as db:
        print(*(row.finding.id for row in list_findings(db)), flush=True)
"""


@contextlib.contextmanager
def member(group: int = 54321) -> Iterator[Callable[[Path], list[str]]]:
    """A process of its own that is nothing but a member of that group; gives the ids that it reads at a path."""
    with subprocess.Popen(
        [sys.executable, "-c", MEMBER, str(group)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:

        def ids_at(path: Path) -> list[str]:
            for file in (path.parent, *path.parent.iterdir()):
                os.chown(file, -1, group)
            path.parent.chmod(0o750)
            print(path, file=process.stdin, flush=True)
            return process.stdout.readline().split()

        yield ids_at
        process.stdin.close()


def test_a_reader_cannot_write(live, path) -> None:
    live().whole_check("run-1")
    with open_read(path) as db, pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("DELETE FROM finding")


def test_csv_reads_back_as_the_very_evidence(live, path) -> None:
    life = live()
    _, evidence = life.whole_check("run-1")
    life.writer.flush()
    out = io.StringIO()
    with open_read(path) as db:
        export.sweeps_csv(find_finding(db, "run-1-f")[1], out)
    rows = list(csv.DictReader(io.StringIO(out.getvalue())))
    assert len(rows) == 150
    assert list(rows[0]) == ["sweep", "placement", "travel_mm", "reading_mm", "t_s", "seat", "hold"]
    for trace in evidence.traces:
        mine = [row for row in rows if row["sweep"] == trace.sweep]
        assert [float(row["travel_mm"]) for row in mine] == trace.travel
        assert [float(row["reading_mm"]) for row in mine] == trace.reading
        assert [float(row["t_s"]) for row in mine] == trace.at
        assert {(row["placement"], row["seat"], row["hold"]) for row in mine} == {("handle-right", "1", "")}


def test_csv_with_the_columns_of_a_check_of_widths() -> None:
    evidence = Evidence("runner-fit", [Trace("slot-left", [25.0, 50.0], [19.05, 19.1])])
    out = io.StringIO()
    export.sweeps_csv(evidence, out, ("what", "station", "width"))
    assert out.getvalue() == "what,station_mm,width_mm\nslot-left,25.0,19.05\nslot-left,50.0,19.1\n"
    with pytest.raises(KeyError, match="colour"):
        export.sweeps_csv(evidence, out, ("colour",))


def test_json_lines_hold_all(live, path) -> None:
    life = live()
    finding, evidence = life.whole_check("run-1", instrument="cable 1")
    life.writer.flush()
    with open_read(path) as db:
        (row,) = list_findings(db)
        line = json.loads(export.json_line(db, row, []))
    assert msgspec.convert(line["finding"], Finding) == finding
    assert msgspec.convert(line["evidence"], Evidence) == evidence
    assert (line["run"], line["instrument"]) == ("run-1", "cable 1")


STRANGER = "import sqlite3, sys; db = sqlite3.connect(sys.argv[1]); db.execute('SELECT 1 FROM event').fetchone(); db.close()"


@pytest.mark.parametrize("reader", ["owner", "somebody else"])
@pytest.mark.parametrize("index", ["index there", "index removed by hand"])
def test_reading_in_the_writers_process_gives_up_no_lock_of_its_connection(
    reader, index, live, path, monkeypatch
) -> None:
    """Closing any descriptor of a file drops a process's locks on it (fcntl(2)): another program that looks into the
    log and closes it would then take the write-ahead file away, with what the writer has in it."""
    life = live()
    life.begin("run-1")
    assert life.writer.flush()
    wal, shm = (path.with_name(path.name + suffix) for suffix in ("-wal", "-shm"))
    before = wal.stat().st_ino
    if index != "index there":
        shm.unlink()
    if reader != "owner":
        monkeypatch.setattr(os, "geteuid", lambda: 12345)
    with open_read(path) as db:
        assert db.execute("SELECT count(*) FROM check_run").fetchone() == (1,)
    subprocess.run([sys.executable, "-c", STRANGER, str(path)], check=True)
    assert wal.exists() and wal.stat().st_ino == before
    life.sweep("s-1", "run-1")
    assert life.writer.flush()
    assert life.troubles == []


def test_a_result_of_a_pi_that_woke_up_in_1970_is_listed_by_its_true_date_or_marked(
    live, path, make, tmp_path
) -> None:
    """In the list, alone, and in an export, which the next machine has nothing else to put it right by."""
    true = "2026-03-01T10:00:00+00:00"
    known = datetime.fromisoformat(true).timestamp()
    clock = make.Clock(monotonic_s=50.0, wall_s=100.0, synced=False)
    life = live("boot-1970", clock=clock)
    life.whole_check("put-right", at="1970-01-01T00:01:40+00:00")
    clock.wall_s, clock.monotonic_s, clock.synced = known + 60.0, 110.0, True
    life.writer.event(None, "clock")
    life.writer.close()
    never = live("boot-never", clock=make.Clock(wall_s=200.0, synced=False))
    never.whole_check("never", at="1970-01-01T00:03:20+00:00")
    never.writer.close()
    rows = history.listed(path)
    assert [one.at for one in rows.findings] == ["1970-01-01T00:03:20+00:00", true]
    assert rows.undated == ["never-f"]
    assert (history.show(path, "put-right-f").finding.at, history.show(path, "never-f").undated) == (
        true,
        True,
    )
    listed = CliRunner().invoke(cli, ["log", "list", "--log", str(path)])
    assert (
        listed.stdout.startswith("1970-01-01T00:03:20+00:00?  never-f")
        and f"\n{true}  put-right-f" in listed.stdout
    )
    assert "?: the clock had not been set" in listed.stderr
    exported = CliRunner().invoke(cli, ["log", "export", "--log", str(path)]).stdout
    (tmp_path / "all.jsonl").write_text(exported)
    for into, told in ((path, "0 new, 2 here"), (tmp_path / "next.sqlite", "2 new")):
        again = CliRunner().invoke(cli, ["log", "import", str(tmp_path / "all.jsonl"), "--log", str(into)])
        assert told in again.stdout, again.output
    assert {one.at for one in history.listed(tmp_path / "next.sqlite").findings} == {
        one.at for one in rows.findings
    }
