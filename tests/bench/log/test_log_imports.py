"""The daemon and its clients never pay for sqlite-utils: only a change of the tables imports it."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from bench.log import schema

PROGRAM = [sys.executable, "-X", "importtime", "-m", "bench.cli"]


def imported(report: str) -> set[str]:
    """Names of the packages in what `-X importtime` wrote."""
    return {line.rpartition("|")[2].strip().partition(".")[0] for line in report.splitlines()}


@pytest.mark.ci
@pytest.mark.parametrize("new", [True, False])
def test_daemon_and_log_list_import_no_sqlite_utils(tmp_path: Path, path: Path, new: bool) -> None:
    if not new:
        schema.connect(path).close()
    settings = tmp_path / "settings.toml"
    settings.touch()
    at = {"SWEEPGAUGE_SETTINGS": settings, "SWEEPGAUGE_LOG": path, "SWEEPGAUGE_SOCKET": tmp_path / "socket"}
    environment = os.environ | {name: str(value) for name, value in at.items()}
    with (
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager,
        (tmp_path / "report").open("wb") as report,
    ):
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(30)
        notify = {"NOTIFY_SOCKET": str(tmp_path / "notify")}
        with subprocess.Popen([*PROGRAM, "daemon"], env=environment | notify, stderr=report) as daemon:
            try:
                assert manager.recv(1000).startswith(b"READY=1")
                command = [*PROGRAM, "log", "list"]
                listed = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
                assert listed.stdout == "nothing yet\n"
            finally:
                daemon.send_signal(signal.SIGTERM)
    of_daemon, of_list = imported((tmp_path / "report").read_text()), imported(listed.stderr)
    assert {"sqlite3", "msgspec"} <= of_daemon and "msgspec" in of_list
    assert "sqlite_utils" not in of_daemon | of_list


def test_a_log_without_changes_imports_no_sqlite_utils(path: Path) -> None:
    """A due change does import it, which shows that this test could fail."""
    script = """
import sys
sys.modules["pandas"] = None  # sqlite-utils would import it
from pathlib import Path
from bench.log import schema
from bench.log.findings import list_findings
from bench.log.read_only import open_read
from bench.log.schema import CHANGES, migrate
db = schema.connect(Path(sys.argv[1]))
with open_read(sys.argv[1]) as log:
    list_findings(log)
print("sqlite_utils" in sys.modules)
migrate(db, [*CHANGES, ("next", lambda log: None)])
print("sqlite_utils" in sys.modules)
"""
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["False", "True"]
