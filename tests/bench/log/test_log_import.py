"""What was exported comes back, by id and never twice; two logs into one; lines by other hands."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from bench.cli import cli
from bench.cli.common import CommandError
from bench.log import history, importer
from bench.log.export import EventLine, UnusableLine, read_line
from bench.log.findings import find_finding, list_findings
from bench.log.read_only import open_read
from tests.bench.log.test_log_export import CLIENT, peak_mib

DAY = 86400.0


def run(*args: object) -> Result:
    return CliRunner().invoke(cli, ["log", *map(str, args)], standalone_mode=False, catch_exceptions=False)


def export(path: Path) -> str:
    return run("export", "--log", path).stdout


@pytest.fixture
def rich(live, path, make) -> Path:
    """A log with passes, moves made and verified, and a result that another took the place of."""
    life = live()
    first, _ = life.whole_check("run-1")
    life.writer.move_planned(f"move-{first.id}", first.id, make.move)
    life.writer.move_made(f"move-{first.id}", {"distance_mm": 0.15, "how": "live"})
    second, _ = life.whole_check("run-2")
    life.writer.move_verified(f"move-{first.id}", second.id)
    third, evidence = life.whole_check("run-3")
    better = msgspec.structs.replace(make.found("better"), at="2026-01-01T10:05:00+00:00")
    life.writer.finding("run-3", better, evidence, supersedes=third.id)
    life.whole_check("run-4", jig="small-sled")
    happened = {
        "jig": "big-sled",
        "what": "dropped",
        "at": "2027-01-15T08:00:00+00:00",
        "note": "from the bench",
    }
    life.writer.event(None, "gear-event", happened)
    life.writer.close()
    return path


@pytest.fixture
def exported(rich, tmp_path) -> Path:
    file = tmp_path / "all.jsonl"
    file.write_text(export(rich))
    return file


def test_an_export_comes_back_whole_and_never_twice(rich, exported, tmp_path) -> None:
    other = tmp_path / "other.sqlite"
    first = run("import", exported, "--log", other)
    assert (first.return_value, first.stdout) == (
        0,
        "Results: 5 new, 0 here already. Events: 1 new.\n",
    )
    assert export(other) == exported.read_text()
    again = run("import", exported, "--log", other)
    assert (again.return_value, again.stdout) == (0, "Results: 0 new, 5 here already.\n")
    assert export(other) == exported.read_text()
    with open_read(rich) as old, open_read(other) as new:
        for row in list_findings(old):
            assert find_finding(new, row.finding.id) == find_finding(old, row.finding.id)


def test_through_the_daemon_as_into_a_file(exported, tmp_path, serving, live) -> None:
    other = tmp_path / "new.sqlite"
    socket = serving(other, live(at=other).writer)
    taken = run("import", exported, "--socket", socket)
    assert (taken.return_value, taken.stdout) == (
        0,
        "Results: 5 new, 0 here already. Events: 1 new.\n",
    )
    assert export(other) == exported.read_text()
    with pytest.raises(CommandError, match="process"):
        run("import", exported, "--log", other)  # while a daemon holds it


def test_an_interrupted_import_goes_on(exported, tmp_path) -> None:
    half, other = tmp_path / "half.jsonl", tmp_path / "other.sqlite"
    lines = exported.read_text().splitlines(keepends=True)
    half.write_text("".join(lines[:3]))
    told = run("import", half, "--log", other)
    assert told.return_value == 1 and "names a later result, better" in told.stderr
    assert run("import", exported, "--log", other).return_value == 0
    assert export(other) == exported.read_text()


def test_lines_in_any_order_make_the_same_log(exported, tmp_path) -> None:
    lines = exported.read_text().splitlines(keepends=True)
    turned, other = tmp_path / "turned.jsonl", tmp_path / "other.sqlite"
    turned.write_text("".join(reversed(lines)))
    assert run("import", turned, "--log", other).return_value == 0
    assert export(other) == exported.read_text()


def test_damaged_lines_are_named_and_the_others_taken(exported, tmp_path) -> None:
    lines = exported.read_text().splitlines(keepends=True)
    broken = json.loads(lines[3])
    del broken["finding"]["quantities"][0]["uncertainty"]
    lines[1:4] = [lines[1][:200] + "\n", "\n", lines[2], json.dumps(broken) + "\n"]
    file, other = tmp_path / "damaged.jsonl", tmp_path / "other.sqlite"
    file.write_text("".join(lines))
    told = run("import", file, "--log", other)
    assert told.return_value == 1
    assert told.stdout == "Results: 3 new, 0 here already. Events: 1 new. Lines left out: 4.\n"
    assert "Line 2 is left out: it is no JSON" in told.stderr
    assert "Line 5 is left out: Object missing required field `uncertainty`" in told.stderr


@pytest.mark.parametrize(
    "content", [b"sweep,placement\n1,2\n", b"\xff\xfe\x00", b"[1, 2]\n{}\n", b"[" * 200_000]
)
def test_what_is_no_export_is_refused_whole(content, tmp_path) -> None:
    file = tmp_path / "file"
    file.write_bytes(content)
    with pytest.raises(CommandError, match="no export"):
        run("import", file, "--log", tmp_path / "other.sqlite")
    with open_read(tmp_path / "other.sqlite") as db:
        assert list_findings(db) == []


def test_a_log_is_no_export(rich, tmp_path) -> None:
    with pytest.raises(CommandError, match="log export --log"):
        run("import", rich, "--log", tmp_path / "other.sqlite")


BARE = {
    "id": "theirs",
    "check": "fence-square",
    "jig": "big-sled",
    "at": "2026-01-05T00:00:00+00:00",
    "quantities": [{"name": "fence", "value": 0.0001, "unit": "rad", "uncertainty": 0.00002}],
}


def test_findings_without_evidence(tmp_path) -> None:
    file, other = tmp_path / "bare.jsonl", tmp_path / "other.sqlite"
    second = {**BARE, "id": "next", "at": "2026-02-05T10:00:00Z", "weather": "dry"}
    file.write_text(line_of(BARE) + "\n" + line_of(second))  # no line end
    told = run("import", file, "--log", other)
    assert (told.return_value, told.stdout) == (0, "Results: 2 new, 0 here already.\n")
    assert "finding.weather" in told.stderr
    assert run("import", file, "--log", other).stdout == "Results: 0 new, 2 here already.\n"
    with open_read(other) as db:
        first, last = list_findings(db)
    assert (first.finding.at, first.synced) == ("2026-01-05T00:00:00+00:00", True)
    assert first.wall_s == datetime(2026, 1, 5, tzinfo=UTC).timestamp()
    assert last.finding.id == "next"
    # the export of what was taken is a fixed point
    again = tmp_path / "again.sqlite"
    file.write_text(export(other))
    assert run("import", file, "--log", again).return_value == 0
    assert export(again) == export(other)


def line_of(finding: dict[str, object]) -> str:
    return json.dumps({"finding": finding})


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"at": "2026-01-05"}, "a date without an offset"),
        ({"at": ""}, "is no date"),
        ({"id": ""}, "its id is ''"),
    ],
)
def test_a_finding_without_id_or_date_is_left_out(wrong, why, tmp_path) -> None:
    file = tmp_path / "bare.jsonl"
    file.write_text(line_of(BARE) + "\n" + line_of(BARE | wrong) + "\n")
    told = run("import", file, "--log", tmp_path / "other.sqlite")
    assert told.return_value == 1 and "Line 2 is left out: " in told.stderr and why in told.stderr


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [("what", "burnt", "none of dropped"), ("jig", "", "its jig is ''"), ("at", "soon", "'soon' is no date")],
)
def test_an_event_that_cannot_be_is_named(field, value, why, exported, tmp_path) -> None:
    lines = exported.read_text().splitlines(keepends=True)
    event = json.loads(lines[-1])
    event["event"]["data"][field] = value
    exported.write_text("".join([*lines[:-1], json.dumps(event)]))
    told = run("import", exported, "--log", tmp_path / "other.sqlite")
    assert told.return_value == 1 and told.stdout == "Results: 5 new, 0 here already. Lines left out: 1.\n"
    assert "Line 6 is left out: " in told.stderr and why in told.stderr


def test_what_a_file_holds_does_not_reach_the_terminal_raw(tmp_path) -> None:
    file = tmp_path / "bare.jsonl"
    nasty = {**BARE, "verdict": "\x1b[2J"}
    file.write_text("".join(line_of(one) + "\n" for one in ({**BARE, "\x1b[31m": 1}, nasty)))
    told = run("import", file, "--log", tmp_path / "other.sqlite")
    assert told.return_value == 1 and "\x1b" not in told.stderr and "\\x1b[31m" in told.stderr


def shorter(evidence: dict) -> None:
    evidence["traces"][0]["reading"].pop()


def many_leaves(evidence: dict) -> None:
    evidence["gear"]["leaves"] = [0.02 + 0.001 * n for n in range(5000)]


def long_name(evidence: dict) -> None:
    evidence["gear"]["jig"]["name"] = "a" * 60_000


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (shorter, "pass 1 has not as many readings as travels"),
        (many_leaves, "5000 leaves are no set; at most 200 would do"),
        (long_name, "a text in it has 60000 characters"),
    ],
)
def test_passes_that_cannot_be_used_are_named(spoil, why, exported, tmp_path) -> None:
    line = json.loads(exported.read_text().splitlines()[0])
    spoil(line["evidence"])
    file = tmp_path / "short.jsonl"
    file.write_text(exported.read_text().splitlines()[1] + "\n" + json.dumps(line))
    told = run("import", file, "--log", tmp_path / "other.sqlite")
    assert told.return_value == 1 and told.stdout.startswith("Results: 1 new")
    assert f"Line 2 is left out: {why}." in told.stderr


def test_a_result_of_the_same_id_that_differs_is_told(exported, tmp_path) -> None:
    other = tmp_path / "other.sqlite"
    run("import", exported, "--log", other)
    before = export(other)
    line = json.loads(exported.read_text().splitlines()[0])
    line["finding"]["quantities"][0]["value"] = 0.5
    exported.write_text(json.dumps(line))
    told = run("import", exported, "--log", other)
    assert told.return_value == 1 and "another result run-1-f." in told.stderr
    assert export(other) == before


def test_two_logs_into_one_stand_in_the_order_of_their_dates(live, path, make, tmp_path) -> None:
    for at, name, days in ((path, "a", (0, 2, 4)), (tmp_path / "b.sqlite", "b", (1, 3))):
        for day in days:
            clock = make.Clock(wall_s=1_800_000_000 + day * DAY)
            life = live(f"boot-{name}{day}", clock, at=at)
            life.whole_check(f"{name}{day}", sweeps=1)
            life.writer.close()
    file = tmp_path / "b.jsonl"
    file.write_text(export(tmp_path / "b.sqlite"))
    assert run("import", file, "--log", path).return_value == 0
    with open_read(path) as db:
        assert [row.run for row in list_findings(db)] == ["a0", "b1", "a2", "b3", "a4"]
    page = history.listed(path, most=2, before="b3-f").findings
    assert [one.id for one in page] == ["a2-f", "b1-f"]
    assert [json.loads(one)["run"] for one in export(path).splitlines()] == ["a0", "b1", "a2", "b3", "a4"]


def test_a_clock_that_was_wrong_does_not_disorder_an_import(tmp_path) -> None:
    """One result of thirty is dated a year back: it stays where it was recorded, as in the log it comes from."""
    days = [f"2026-03-{day:02}" for day in range(1, 31)]
    days[12] = "2025-03-13"
    file, other = tmp_path / "bare.jsonl", tmp_path / "other.sqlite"
    file.write_text(
        "".join(line_of({**BARE, "id": f"r{n}", "at": f"{at}T00:00:00Z"}) + "\n" for n, at in enumerate(days))
    )
    assert run("import", file, "--log", other).return_value == 0
    between = tmp_path / "between.jsonl"
    between.write_text(line_of({**BARE, "id": "other", "at": "2026-03-20T12:00:00Z"}))
    assert run("import", between, "--log", other).return_value == 0
    wanted = [f"r{n}" for n in range(30)]
    wanted.insert(20, "other")
    with open_read(other) as db:
        assert [row.finding.id for row in list_findings(db)] == wanted


@pytest.mark.parametrize("size", [1, 7, 1000, 10**6])
def test_a_file_may_be_parted_anywhere(size, exported) -> None:
    lines = exported.read_bytes().splitlines(keepends=True)
    content = b"".join([*lines[:2], b"\n", *lines[2:]]).rstrip()
    taking = importer.Importer()
    pieces = [content[at : at + size] for at in range(0, len(content), size)]
    writes = [one for n, piece in enumerate(pieces, 1) for one in taking.read(piece, last=n == len(pieces))]
    assert len(writes) == len(lines)
    assert taking.problems == []


def test_a_line_that_never_ends_is_no_export(exported, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(importer, "LONGEST_LINE_BYTES", 2**20)
    exported.write_bytes(exported.read_bytes() + b"x" * 2**21)
    with pytest.raises(CommandError, match="line 7 is longer than 1 MiB: this is no export"):
        run("import", exported, "--log", tmp_path / "other.sqlite")


def test_dates_of_an_import_are_not_put_right_by_this_clock(live, path, make, exported, tmp_path) -> None:
    line = json.loads(exported.read_text().splitlines()[0])
    exported.write_text(json.dumps({**line, "clock_synced": False, "wall_s": 1000.0}))
    other = tmp_path / "other.sqlite"
    run("import", exported, "--log", other)
    life = live("command", make.Clock(), at=other)
    life.writer.event(None, "clock", {}, urgent=True)
    life.writer.close()
    with open_read(other) as db:
        (row,) = list_findings(db)
    assert (row.wall_s, row.synced) == (1000.0, False)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from([*BARE, "id", "finding", "evidence", "moves", "wall_s"]), inner, max_size=4
        )
    ),
    max_leaves=12,
)


@given(st.binary(max_size=60) | anything.map(msgspec.json.encode))
def test_whatever_a_line_holds_it_is_taken_or_named(text: bytes) -> None:
    try:
        read = read_line(text)
    except UnusableLine as error:
        assert str(error)
    else:
        assert isinstance(read.line, EventLine) or read.line.finding.quantities


@given(st.sampled_from([*BARE, "value", "unit", "uncertainty", "name"]), anything)
def test_a_finding_with_one_wrong_part_is_taken_or_named(field: str, wrong: object) -> None:
    finding = json.loads(json.dumps(BARE))
    part = finding if field in finding else finding["quantities"][0]
    part[field] = wrong
    try:
        line = read_line(msgspec.json.encode({"finding": finding})).line
    except UnusableLine:
        return
    assert datetime.fromisoformat(line.finding.at).tzinfo is not None
    assert line.finding.id and line.run


DAEMON = """
import asyncio, sys
from pathlib import Path
from bench.log.writer import LogWriter
from tests.bench.log.conftest import serve_log
path = Path(sys.argv[1])
told = dict(on_saved=lambda commit: None, on_trouble=lambda words: None)
writer = LogWriter.open(path, boot_id="test", program="test 1", **told)
asyncio.run(serve_log(path, Path(sys.argv[2]), writer))
"""


def lines_of(exported: Path, count: int) -> Iterator[str]:
    """The first line of the export again and again, each time another result."""
    first = exported.read_text().splitlines()[0]
    for number in range(count):
        yield first.replace("run-1-f", f"many-{number:05}").replace('"run-1"', f'"many-{number:05}"') + "\n"


def import_measured(exported: Path, tmp_path: Path, count: int) -> dict[str, float]:
    """By how many MiB daemon and command grow at so many results beyond what a few take."""
    few, many = tmp_path / "few.jsonl", tmp_path / "many.jsonl"
    few.write_text(exported.read_text())
    with many.open("w") as file:
        file.writelines(lines_of(exported, count))
    at = tmp_path / "daemon.socket"
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}
    daemon = subprocess.Popen([sys.executable, "-c", DAEMON, tmp_path / "into.sqlite", at], env=env)
    try:
        while not at.exists():
            assert daemon.poll() is None
        peaks = []
        for file in (few, many):
            args = [sys.executable, "-c", CLIENT, "log", "import", file, "--socket", at]
            client = subprocess.run(args, capture_output=True, text=True, check=True, env=env)
            peaks.append((float(client.stderr.split()[-1]), peak_mib(daemon.pid)))
        assert client.stdout == f"Results: {count} new, 0 here already.\n"
    finally:
        daemon.terminate()
        daemon.wait()
    return {name: after - before for name, before, after in zip(("client", "daemon"), *peaks, strict=True)}


@pytest.mark.ci
def test_six_hundred_results_through_the_daemon(exported, tmp_path) -> None:
    assert max(import_measured(exported, tmp_path, 600).values()) <= 10


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_ten_thousand_results_through_the_daemon(exported, tmp_path) -> None:
    grown = import_measured(exported, tmp_path, 10_000)
    passed = max(grown.values()) <= 10
    print(json.dumps({"test": "whole log in, MiB more", "figure": grown, "limit": 10, "pass": passed}))
    assert passed
