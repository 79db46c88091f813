"""The whole log out, through the daemon's socket: its own clients, answers and history, and the real commands."""

from __future__ import annotations

import hashlib
import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

from bench.cli.log import _show_lines, log
from bench.daemon.clients import DROP_BYTES
from bench.finding import Finding, SweepRow
from bench.log import export
from bench.log.findings import each_finding
from bench.log.read_only import open_read
from bench.protocol import LogExport, LogOne, LogText, encode
from bench.protocol.client import WireClient

DAEMON = """
import asyncio, sys
from pathlib import Path
from tests.bench.log.conftest import serve_log
asyncio.run(serve_log(Path(sys.argv[1]), Path(sys.argv[2]), None))
"""


@pytest.fixture
def answering(path: Path, serving: Callable[..., Path]) -> Callable[[], Path]:
    """Begins to answer for the test's log; gives the socket."""
    return lambda: serving(path)


def run(*args: str):
    return CliRunner().invoke(log, args, standalone_mode=False, catch_exceptions=False)


def record(live, count: int, readings: int = 200) -> None:
    life = live()
    for number in range(count):
        life.whole_check(f"run-{number:05}", sweeps=2, count=readings)
        if number % 100 == 0:
            life.writer.flush(30)
    assert life.writer.flush(30) and life.writer.close()


def test_a_result_with_a_move_is_shown(live, path, make, answering) -> None:
    life = live()
    finding, _ = life.whole_check("run-1")
    life.writer.move_planned("move-1", finding.id, make.move)
    life.writer.move_made("move-1", {"distance_mm": 0.15})
    life.writer.close()
    at = answering()
    shown = run("show", finding.id, "--socket", str(at))
    assert shown.return_value == 0
    assert shown.output.splitlines()[-1] == "  The move was made by 0.15 mm; not verified yet."
    answer = json.loads(run("show", finding.id, "--socket", str(at), "--json").output)
    assert answer["moves"][0]["made"] == {"distance_mm": 0.15}


@pytest.mark.parametrize(("units", "places"), [("mm", 3), ("inch", 1)])
def test_the_passes_of_a_result_are_shown_in_the_same_digits(units: str, places: int) -> None:
    """0.07 beside 0.072 reads as if the one were known less well."""
    slopes = (-0.07 / 300, -0.0716 / 300, 0.0, 0.11 / 300)
    rows = [SweepRow("handle-left", True, 140, 0, slope, 6e-6) for slope in slopes]
    shown = LogOne(Finding(check="fence-square", quantities=[], sweeps=rows), msgspec.Raw(b"{}"))
    lines = [line for line in _show_lines(shown, [], units) if "readings" in line]
    told = [line.split(", ")[-1].split()[0] for line in lines]
    assert len(told) == 4
    assert all(len(one.partition(".")[2]) == places for one in told), told


def test_more_than_a_client_may_leave_unread_is_exported(live, path, answering, monkeypatch) -> None:
    monkeypatch.setattr("bench.daemon.clients.DROP_BYTES", DROP_BYTES // 4)
    record(live, 10, readings=800)
    at = answering()
    whole = run("export", "--log", str(path)).stdout_bytes
    assert len(whole) > 1.5 * DROP_BYTES // 4
    assert run("export", "--socket", str(at)).stdout_bytes == whole
    one = "run-00007-f"
    assert run("export", one, "--socket", str(at)).output == run("export", one, "--log", str(path)).output


def test_a_list_of_more_than_one_page(live, path, answering, monkeypatch) -> None:
    monkeypatch.setattr("bench.cli.log.PAGE", 4)
    record(live, 11, readings=4)
    at = answering()
    for most in ("3", "8", "50"):
        ask = ("list", "--most", most, "--json")
        asked = [run(*ask, "--socket", str(at)).output, run(*ask, "--log", str(path)).output]
        assert asked[0] == asked[1]
        assert len(json.loads(asked[0])["findings"]) == min(int(most), 11)


def test_who_does_not_read_holds_up_nobody(live, path, answering) -> None:
    """Neither another client, nor the write-ahead file: the log is not held between two results."""
    record(live, 20, readings=800)
    at = answering()
    with socket.socket(socket.AF_UNIX) as stuck:
        stuck.connect(str(at))
        stuck.send(encode(LogExport()))
        stuck.recv(100)
        assert run("list", "--socket", str(at)).return_value == 0
        life = live("boot-b")
        life.whole_check("later")
        assert life.writer.flush()
        assert life.writer._file.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
    with WireClient(at) as client:  # and it may go away in the midst of it
        client.send(LogExport())
        assert isinstance(client.next(60.0), LogText)
    assert run("export", "--socket", str(at)).return_value == 0


def peak_mib(process: int) -> float:
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


CLIENT = """
import sys
from bench.cli import main
try:
    main()
except SystemExit:
    from tests.bench.log.test_log_export import peak_mib
    print(peak_mib("self"), file=sys.stderr)
"""


def exported(at: Path, what: list[str], env: dict[str, str]) -> tuple[str, float]:
    """Hash of what a client of its own gives out, and how large it grew."""
    args = [sys.executable, "-c", CLIENT, "log", "export", *what, "--socket", str(at)]
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env) as client:
        assert client.stdout is not None and client.stderr is not None
        digest = hashlib.file_digest(client.stdout, "sha256").hexdigest()
        return digest, float(client.stderr.read().split()[-1])


def export_measured(path: Path, at: Path) -> tuple[str, dict[str, float]]:
    """The export through a daemon of its own; its hash, and by how many MiB each grew beyond one result's export."""
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}
    daemon = subprocess.Popen([sys.executable, "-c", DAEMON, str(path), str(at)], env=env)
    try:
        while not at.exists():
            assert daemon.poll() is None
        _, one = exported(at, ["run-00001-f"], env)
        before = peak_mib(daemon.pid)
        digest, whole = exported(at, [], env)
        return digest, {"client": whole - one, "daemon": peak_mib(daemon.pid) - before}
    finally:
        daemon.terminate()
        daemon.wait()


def whole_export(live, path: Path, tmp_path: Path, count: int) -> dict[str, float]:
    record(live, count, readings=400)
    digest, grown = export_measured(path, tmp_path / "socket")
    wanted = hashlib.sha256()
    with open_read(path) as db:
        for row in each_finding(db, []):
            wanted.update(export.json_line(db, row, []).encode())
    assert digest == wanted.hexdigest()
    return grown


@pytest.mark.ci
def test_three_hundred_results_through_the_daemon(live, path, tmp_path) -> None:
    grown = whole_export(live, path, tmp_path, 300)
    assert max(grown.values()) <= 10


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_ten_thousand_results_through_the_daemon(live, path, tmp_path) -> None:
    grown = whole_export(live, path, tmp_path, 10_000)
    passed = max(grown.values()) <= 10
    print(json.dumps({"test": "whole log out, MiB more", "figure": grown, "limit": 10, "pass": passed}))
    assert passed
