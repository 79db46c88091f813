"""README's own commands: from a fresh machine to the first measured sweep on the virtual saw in three at the most."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from bench.cli.demo import demo

README = (Path(__file__).parents[3] / "README.md").read_text()
MOST = 3


def commands() -> list[str]:
    """Of the first thing that README has a newcomer type, one by one."""
    first = re.search(r"^```sh\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    assert first is not None
    text = first.group(1).replace("\\\n", " ")
    return [part.strip() for line in text.splitlines() for part in line.split("&&") if part.strip()]


def words(command: str) -> list[str]:
    return command.split()


def test_three_commands_from_install_to_the_first_sweep() -> None:
    typed = commands()
    assert len(typed) <= MOST
    assert "pip install" in typed[-2] and Path(words(typed[-1])[0]).name == "sweepgauge"
    kind, *options = words(typed[-1])[1:]
    assert kind == "demo"
    demo.make_context("demo", list(options))  # what is typed is understood


@pytest.mark.slow  # the virtual hands take their time
def test_the_last_of_them_measures_a_sweep() -> None:
    program = subprocess.Popen(
        [sys.executable, "-m", "bench.cli", *words(commands()[-1])[1:]],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert program.stderr is not None
    try:
        assert any("1 of 3 kept" in line for line in program.stderr)
    finally:
        program.kill()
        program.stderr.close()
        program.wait()
