"""What a command loads: nothing that its own job does not need."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from everyday import ci

from bench.log import schema

HEAVY = {"numpy", "pint", "sqlite_utils", "jinja2", "textual", "tomlkit", "serial", "gpiozero", "scipy"}
PROGRAM = """
import sys
from bench.cli import main
try:
    main()
except SystemExit:
    print(*sys.modules, file=sys.stderr)
"""


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("status", {"sqlite3", "bench.checks.fence_square", "bench.settings.settings_file"}),
        ("check fence-square", {"sqlite3", "bench.upkeep"}),
        ("log list --log LOG", {"bench.cut", "bench.upkeep", "bench.log.salvage"}),
        *map(
            ci,
            [
                ("log events --log LOG", {"bench.cut", "bench.log.history"}),
                ("drift --log LOG", {"bench.cut"}),
            ],
        ),
        ("due --log LOG", {"bench.cut"}),
    ],
)
def test_a_command_loads_what_it_needs(command: str, more: set[str], tmp_path: Path) -> None:
    log, socket = tmp_path / "log.db", tmp_path / "none"
    schema.connect(log).close()
    words = [str(log) if word == "LOG" else word for word in command.split()]
    args = [sys.executable, "-c", PROGRAM, *words, *([] if "--log" in words else ["--socket", str(socket)])]
    done = subprocess.run(args, capture_output=True, text=True, check=True)
    loaded = set(done.stderr.splitlines()[-1].split())
    assert "click" in loaded
    assert not loaded & (HEAVY | more)
