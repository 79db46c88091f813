"""The unit is accepted by systemd itself and leaves little open."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

UNIT = Path(__file__).parent.parent / "systemd" / "sweepgauge.service"
EXPOSURE = 1.0  # the most that may be open, of 10; serial ports and GPIO are allowed

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not on this machine"
)


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The unit with a program that exists, since verify looks for it."""
    text = UNIT.read_text().replace("/opt/sweepgauge/bin/sweepgauge", "/bin/true")
    copy = tmp_path / UNIT.name
    copy.write_text(text)
    return copy


@needs_systemd
def test_the_unit_is_accepted(unit: Path) -> None:
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(unit)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    about_us = [line for line in done.stderr.splitlines() if UNIT.name in line]
    assert about_us == []


@needs_systemd
def test_the_unit_leaves_little_open(unit: Path) -> None:
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", str(unit)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    found = re.search(r"exposure level for .*: ([0-9.]+)", done.stdout)
    assert found is not None, done.stdout + done.stderr
    assert float(found[1]) <= EXPOSURE
