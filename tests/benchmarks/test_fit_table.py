"""The fit table runs, and its figures are what a sharp and honest fit must show (few trials every day)."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

TABLE = Path(__file__).with_name("fit_table.py")
WORST = {  # root-mean-square error over the Cramer-Rao bound
    "clean": 1.05,
    "coarse counts": 1.10,
    "texture": 1.10,
    "eight stations": 1.15,
    "dust": 1.08,
    "gullets": 1.40,
}


def table(trials: int, names: list[str]) -> dict:
    command = [sys.executable, str(TABLE), "--json", "--trials", str(trials), "--only", *names]
    one = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True, env=one).stdout)


@pytest.mark.ci
def test_table_in_small() -> None:
    answer = table(6, list(WORST))
    for name, row in answer["rows"].items():
        assert row["error"] < WORST[name] + 0.35  # 36 sweeps: a standard error of 0.12
        assert row["single"] > 0.75
        assert row["refused"] < 0.1
    assert answer["rows"]["gullets"]["least squares"] > 50
    assert answer["rows"]["dust"]["least squares"] > 3
    assert answer["steps refused"] == 1


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_table_in_full() -> None:
    answer = table(250, list(WORST))
    for name, row in answer["rows"].items():
        assert row["error"] < WORST[name] + 0.03, name
        assert row["single"] > 0.90, name
        for sweeps in ("3", "3+3", "pooled"):
            assert row[f"{sweeps} held"] > 0.91, (name, sweeps)
        assert row["3 width"] < 1.9, name
        assert row["refused"] < 0.01, name
    assert answer["steps refused"] > 0.97
