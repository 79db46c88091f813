"""A lean or tap test that a check has not is wrong use, said before any daemon is asked."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.cli import cli
from bench.cli.common import CommandError


@pytest.mark.parametrize("kind", sorted(checks()))
@pytest.mark.parametrize("test", ["lean", "tap"])
def test_only_what_applies_is_taken(kind: str, test: str, tmp_path) -> None:
    steps = checks()[kind].plan({}, EvidenceGear())
    applies = any(s.leans if test == "lean" else s.gather == "sweep" for s in steps)
    result = CliRunner().invoke(
        cli, ["check", kind, f"--{test}", "--socket", str(tmp_path / "none")], standalone_mode=False
    )
    assert isinstance(result.exception, CommandError)
    refused = f"{kind} has no {test} test" in str(result.exception)
    assert refused != applies, result.exception
