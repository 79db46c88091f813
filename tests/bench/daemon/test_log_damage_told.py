"""A running daemon whose log was hurt: `status`, `doctor` and `log events` say so, and what is whole is given out."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.log.conftest import Life
from tests.bench.log.test_log_lost import beside, copy, spoil_finding


@pytest.mark.ci
def test_what_is_lost_and_what_cannot_be_read_is_said(tmp_path: Path, rigs, run) -> None:
    rigs()
    path = tmp_path / "log.db"
    life = Life(path)
    for number in range(3):
        life.whole_check(f"run-{number}")
    assert life.writer.flush()  # merged before what comes is committed
    life.begin("open")
    life.sweep("open-1", "open")
    assert life.writer.flush()
    files = copy(path)
    life.writer.close()
    for suffix in ("-wal", "-shm"):
        beside(path, suffix).unlink(missing_ok=True)
    path.write_bytes(files[""])  # its -wal was lost
    beside(path, ".acknowledged").write_bytes(files[".acknowledged"])
    spoil_finding(path, "run-1-f")
    daemon = run("daemon")
    daemon.hear("could not be read")
    told = "".join(daemon.lines)
    assert "Missing from the log: 1 pass, saved before and lost since." in told
    status = run("status", "--json")
    assert status.wait() == 0
    notes = status.answer()["notes"]
    assert any("1 pass, saved before" in note for note in notes)
    assert any("1 result could not be read: number 2" in note for note in notes)
    listed = run("log", "list", "--json")
    assert listed.wait() == 1
    assert [one["id"] for one in listed.answer()["findings"]] == ["run-2-f", "run-0-f"]
