"""A log of five years and ten sleds: drift and due dates cost a few readings of its results."""

from __future__ import annotations

from pathlib import Path

import pytest
from five_years import figures, write

MOST = 10.0  # readings of the same results; half a second is so many of them where this was written


@pytest.mark.ci
def test_drift_and_due_of_five_years(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    assert write(path) == 600
    found = figures(path)
    print(found)
    assert found["drift"] <= MOST and found["due"] <= MOST
