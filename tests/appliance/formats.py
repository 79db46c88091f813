"""The everyday tests of formats and arithmetic, in the guest, by its own Python, against what is installed there."""

from __future__ import annotations

import asyncio
import re
import shutil
import sys
import tempfile
import time
from pathlib import Path

from guest import Rig, tell

HOUSE = Path(__file__).resolve().parents[2]
NEEDED = "pytest pytest-asyncio pytest-timeout pytest-xdist hypothesis scipy shapely statsmodels"
ROOMS = ("hw/formats", "bench/geometry", "bench/uncertainty", "bench/stream")
PAGE = "tests/hw/formats/test_instruments_page.py"  # of a page of the tree, which is not sent
PYTHON = "/opt/sweepgauge/bin/python"


async def formats(rig: Rig, workers: int) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        for name in ("tests", "fixtures"):
            away = shutil.ignore_patterns("pictures", "appliance", "__pycache__")
            shutil.copytree(HOUSE / name, Path(folder) / name, ignore=away)
        shutil.copy(HOUSE / "pyproject.toml", folder)
        await asyncio.to_thread(rig.machine.send, Path(folder), "house")
    pip = f"sudo {PYTHON} -m pip install -q --no-compile --no-index --find-links wheels {NEEDED}"
    if lacking := (await asyncio.to_thread(rig.machine.call, pip, check=False)).stderr:
        return tell("tests of formats and arithmetic", f"not tried: {lacking[-300:]}", None, None)
    began = time.monotonic()
    rooms = " ".join(f"tests/{room}" for room in ROOMS)
    options = f"-n {workers} -v -m 'not slow and not ci' --timeout 3600 --ignore {PAGE}"
    command = f"cd house && {PYTHON} -m pytest {options} {rooms}"
    done = await asyncio.to_thread(rig.machine.call, command, check=False, time_out=7200)
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    print(done.stdout[-3000:], done.stderr[-1000:], file=sys.stderr)
    figure = {
        "failed": failed,
        "passed": sum(int(number) for number in re.findall(r"(\d+) passed", done.stdout)),
        "minutes": round((time.monotonic() - began) / 60, 1),
        "exit": done.returncode,
    }
    return tell("tests of formats and arithmetic", figure, {"failed": [], "exit": 0}, done.returncode == 0)
