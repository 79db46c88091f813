"""Whole checks on pretend saws, few every day: width, coverage, wrong verdicts; every slip by its wrong moves."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def lines(script: str, *args: str) -> list[dict]:
    one = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, str(HERE / script), *args]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=one)
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.ci
def test_whole_checks_in_small() -> None:
    (row,) = lines("whole_check.py", "--saws", "16", "--count", "0.001")
    # of that, 0.009 were set-ups known to be alike; no log tells it here
    assert row["u95_median_mm_per_300"] <= 0.0135
    assert row["held_fence"] >= 0.8  # 16 saws: fewer than 13 of them once in 5,000 where 95 % hold
    assert (row["wrong_verdicts"], row["wrong_way"]) == (0, 0)


@pytest.mark.ci
def test_every_slip_in_small() -> None:
    """Leaned before each set-up no slip of sides gets through; without, every wrong way has a remark at least."""
    told = lines("signs_run.py", "--checks", "104", "--each")
    every = {(row["leaned"], row["slip"]): row for row in told}
    for leaned in (False, True):
        fair = every[leaned, "none"]
        assert (fair["wrong_way"], fair["false_good"], fair["refused"], fair["stopped"]) == (0, 0, 0, 0)
    for slip in (
        "not turned over, told as turned",
        "wrong side in the second set-up",
        "wrong side in both",
        "set-ups named the wrong way round",
        "reading grows the other way",
    ):
        assert every[True, slip]["stopped"] == every[True, slip]["checks"]
    assert every[False, "wrong side in both"]["wrong_way"] > 0  # the slip is really made
    turned = every[True, "travel grows the other way"]
    assert (turned["wrong_way"], turned["false_good"]) == (
        0,
        0,
    )  # nothing is concluded, and each set-up says why
    said = turned["most said"]
    assert said == {f"backward at {side}": turned["checks"] for side in ("handle-left", "handle-right")}
    assert every[False, "all"]["nothing"] == 0


@pytest.mark.slow
@pytest.mark.timeout(1200)
@pytest.mark.parametrize(
    ("more", "widest"),
    [
        (("--count", "0.001"), 0.013),
        # a coarse instrument as the guide has it: its stand shifted from push to push, and half a count of error
        (("--count", "0.01", "--shift-stand", "--scale-error", "0.5"), 0.015),
    ],
)
def test_a_thousand_whole_checks(more: tuple[str, ...], widest: float) -> None:
    (row,) = lines("whole_check.py", "--saws", "1000", *more)
    assert row["u95_mean_mm_per_300"] <= widest
    # above 0.98: what set-ups may differ by is presumed, and here they do not
    assert row["held_fence"] >= 0.93
    assert row["wrong_way"] == 0


def by_class(*args: str) -> dict[str, dict]:
    return {row["class"]: row for row in lines("fence_table.py", *args)}


@pytest.mark.ci
def test_disturbed_fences_in_small() -> None:
    names = ("base", "set-ups differ 30, 20 in the log", "back on the other wall 200", "curved slot")
    rows = by_class(*names, "--cases", "12")
    for row in rows.values():
        assert row["held"] >= 0.75 and row["wrong"] == 0, row
    assert rows["back on the other wall 200"]["u95_mm_per_300"] < 1.3 * rows["base"]["u95_mm_per_300"]


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_disturbed_fences() -> None:
    # nothing but a remark can help where no log tells how set-ups differ, or where nothing was declared
    beyond = ("set-ups differ 45", "stand along a hollow arm 20, long waves, counts of 0.005")
    for name, row in by_class("--cases", "300").items():
        # 300 cases of 0.90 show less than 0.86 once in a hundred times
        assert row["held"] >= (0.70 if name in beyond else 0.86), row
        assert row["width"] <= (2.4 if "arm" in name or "0.01" in name else 2.1), row
        assert row.get("curvature_held", 1.0) >= 0.90, row
