"""The machine: its clock, disk, power and climate, and the arithmetic."""

from __future__ import annotations

import ctypes
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.finding import Climate
from bench.upkeep.history import sound_climate
from hw.climate import read_climate

LEAST_DISK = 100 * 2**20  # bytes; ten years of daily checks are 70 MB
EARLIEST = 1_735_689_600  # 2025-01-01, before this program was written
UNSYNCED = 5  # TIME_ERROR of adjtimex(2)
NOT_ON_DISK = {"tmpfs", "ramfs"}


# ---- clock ---------------------------------------------------------------------------


def clock_synced() -> bool | None:
    """What the kernel says of its clock (adjtimex(2), which only asks with no mode
    set); None where it cannot say."""
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(
            ctypes.create_string_buffer(512)
        )
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != UNSYNCED


def diagnose_clock(
    synced: bool | None, now: float, *, root: Path = Path("/")
) -> Iterator[Diagnostic]:
    clock = any((root / "dev").glob("rtc*"))
    unpowered = "" if clock else "; this machine has no clock that runs without power"
    if now < EARLIEST:
        date = time.strftime("%Y-%m-%d", time.gmtime(now))
        yield diagnosis("clock", "clock-wrong", date=date, unpowered=unpowered)
    elif synced is False:
        yield diagnosis("clock", "clock-unset", unpowered=unpowered)
    elif synced:
        yield diagnosis("clock", "clock-set")


# ---- disk ----------------------------------------------------------------------------


def diagnose_disk(
    log: Path, *, ours: bool = True, mounts: Path = Path("/proc/self/mounts")
) -> Iterator[Diagnostic]:
    """The disk of the log, or where it would be. ours: this user is to write it, and
    not a service."""
    if log.is_dir():
        yield diagnosis("disk", "log-is-folder", log=log, example=log / "sweepgauge.db")
    folder = log.parent
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    stat = os.statvfs(folder)
    free = stat.f_bavail * stat.f_frsize
    if stat.f_flag & os.ST_RDONLY:
        yield diagnosis("disk", "disk-read-only", folder=folder)
    elif ours and not os.access(folder, os.W_OK):
        yield diagnosis("disk", "disk-denied", folder=folder)
    code = "disk-full" if free < LEAST_DISK else "disk-free"
    yield diagnosis("disk", code, mib=free / 2**20, folder=folder)
    if memory := _memory_of(folder, mounts):
        yield diagnosis("disk", "disk-in-memory", folder=folder, memory=memory)


def _memory_of(folder: Path, mounts: Path) -> str | None:
    """The kind of memory that holds this folder; None where a disk holds it."""
    try:
        rows = [line.split() for line in mounts.read_text().splitlines()]
    except OSError:
        return None
    kinds = {_plain(row[1]): (row[2], row[3]) for row in rows if len(row) >= 4}

    def kind_of(path: str) -> tuple[str, str]:
        places = [place for place in kinds if _within(path, place)]
        return kinds.get(max(places, key=len, default="/"), ("", ""))

    kind, options = kind_of(str(folder.resolve()))
    if kind in NOT_ON_DISK:
        return kind
    upper = re.search(r"upperdir=([^,]+)", options)
    if kind == "overlay" and upper and kind_of(_plain(upper[1]))[0] in NOT_ON_DISK:
        return "an overlay over the card, kept in memory"
    return None


def _plain(path: str) -> str:
    # proc(5): blanks are written \040
    return re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), path)


def _within(path: str, place: str) -> bool:
    return place in ("/", path) or path.startswith(place + "/")


# ---- power, air ----------------------------------------------------------------------


def diagnose_power(sys_root: Path = Path("/sys")) -> Iterator[Diagnostic]:
    """What the board says of its supply; the smallest boards say nothing."""
    for folder in sys_root.glob("class/hwmon/hwmon*"):
        try:
            name = (folder / "name").read_text().strip()
            low = (folder / "in0_lcrit_alarm").read_text().strip() == "1"
        except OSError:
            continue
        if name == "rpi_volt":
            yield diagnosis("power", "power-low" if low else "power-good")


def diagnose_air(sys_root: Path = Path("/sys")) -> Iterator[Diagnostic]:
    for one in read_climate(sys_root, silent=True):
        t, h = one.temperature, one.humidity
        said = [f"{t:.1f} C"] if t is not None else []
        said += [f"{h:.0f} % humidity"] if h is not None else []
        if sound_climate(Climate(t, h and h / 100.0)):
            yield diagnosis("air", "air", said=", ".join(said), sensor=one.sensor)
        else:
            yield diagnosis("air", "air-unknown", sensor=one.sensor)


# ---- Python --------------------------------------------------------------------------


def diagnose_python() -> Iterator[Diagnostic]:
    """Whether numpy starts: on a 32-bit system it lacks a library."""
    started, words = run_python("import numpy; print(numpy.__version__)")
    if started:
        version = sys.version.split()[0]
        yield diagnosis("python", "numpy-good", version=version, words=words)
    else:
        yield diagnosis("python", "numpy-broken", words=words)


def run_python(code: str, **options: Any) -> tuple[bool, str]:
    """(whether it ends well, its output or the last line of its error) of code in
    another Python process. options: of subprocess.run."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        **options,
    )
    if done.returncode:
        return False, (done.stderr.strip().splitlines() or ["no word why"])[-1]
    return True, done.stdout.strip()
