"""The rig on arm64, the architecture of a Pi, all emulated: installation, tests of formats and arithmetic, one check.

As root, with what rig.py needs and qemu-system-arm, qemu-efi-aarch64 and qemu-user-static besides, its binfmt registered:

    .venv/bin/python tests/appliance/arm.py IMAGES WHEELS [bookworm]

WHEELS: this project's, by `pip wheel --no-deps -w WHEELS .`, and those it needs, by `pip download -d WHEELS --platform
manylinux_2_28_aarch64 (and 2_17, 2_27, 2_34, 2014) --python-version 3.11 --only-binary=:all: WHEELS/sweepgauge*.whl pytest
pytest-asyncio pytest-timeout pytest-xdist hypothesis scipy shapely lgpio`. One JSON line a matter, exit 1 when one fails.
"""

from __future__ import annotations

import argparse
import asyncio
import platform
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from guest import Rig, rig, tell
from image import image
from machine import Machine
from rig import installs, whole_check

HOUSE = Path(__file__).resolve().parents[2]
CORES = 2
NEEDED = "pytest pytest-asyncio pytest-timeout pytest-xdist hypothesis scipy shapely"
ROOMS = ("hw/formats", "bench/geometry", "bench/uncertainty", "bench/stream")
PYTHON = "/opt/sweepgauge/bin/python"


async def formats_and_arithmetic(rig: Rig) -> bool:
    """The everyday tests of these rooms, against what was installed."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("tests", "fixtures"):
            shutil.copytree(
                HOUSE / name, Path(folder) / name, ignore=shutil.ignore_patterns("pictures", "appliance")
            )
        shutil.copy(HOUSE / "pyproject.toml", folder)
        await asyncio.to_thread(rig.machine.send, Path(folder), "house")
    await rig.shell(f"sudo {PYTHON} -m pip install -q --no-compile --no-index --find-links wheels {NEEDED}")
    began = time.monotonic()
    rooms = " ".join(f"tests/{room}" for room in ROOMS)
    # a whole minute for a test is what emulation may take for what takes a second
    command = f"cd house && {PYTHON} -m pytest -n {CORES} -q -m 'not slow and not ci' --timeout 3600 {rooms}"
    done = await asyncio.to_thread(rig.machine.call, command, check=False, time_out=7200)
    last = (done.stdout.strip().splitlines() or ["nothing was said"])[-1]
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    print(done.stdout[-3000:], file=sys.stderr)
    minutes = round((time.monotonic() - began) / 60, 1)
    passed = sum(int(number) for number in re.findall(r"(\d+) passed", done.stdout))
    return tell(
        "tests of formats and arithmetic on arm64",
        {"failed": failed, "passed": passed, "minutes": minutes, "last": last},
        {"failed": []},
        done.returncode == 0,
    )


async def run(arguments: argparse.Namespace) -> bool:
    made = await asyncio.to_thread(image, arguments.suite, arguments.images, arch="arm64")

    def machine_of(ports: dict[str, str]) -> Machine:
        folder = arguments.images / "run-arm64"
        return Machine(made, folder, arch="arm64", ports=ports, memory_mib=1024, cores=CORES)

    async with rig(machine_of, seed=arguments.seed) as one:
        good = await installs(one, arguments.wheels)
        there = (await one.shell("uname -m; . /etc/os-release; echo $PRETTY_NAME")).split("\n")
        good &= tell("the machine", there[:2], f"not {platform.machine()}", there[0] == "aarch64")
        for test in (whole_check, formats_and_arithmetic):
            try:
                good &= await test(one)
            except Exception as error:
                good &= tell(test.__name__, f"{type(error).__name__}: {error}", None, False)
        return good


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description="The appliance rig on arm64")
    parser.add_argument("images", type=Path)
    parser.add_argument("wheels", type=Path)
    parser.add_argument("suite", nargs="?", default="bookworm")
    parser.add_argument("--seed", type=int, default=3)
    return 0 if asyncio.run(run(parser.parse_args(argv))) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
