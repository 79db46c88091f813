"""A block of readings in a running sweep passes through at most ten files."""

from __future__ import annotations

import statistics

import pytest
from reading_path import blocks

MOST_FILES = 10


@pytest.mark.ci
def test_a_block_of_a_running_sweep_passes_through_ten_files_at_most() -> None:
    """The usual block; one with an outlier, or with points for a screen, wakes two files more."""
    found = [len(set(files)) for files in blocks()]
    assert len(found) > 500
    assert statistics.median(found) <= MOST_FILES
    assert sorted(found)[int(0.95 * len(found))] <= MOST_FILES + 2
