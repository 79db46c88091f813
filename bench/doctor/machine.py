"""The machine: clock, disk, power, climate, the Python it all runs on."""

from __future__ import annotations

import ctypes
import importlib.metadata
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from bench.doctor.matter import Matter, fault, good, told
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


def clock(
    synced: bool | None, now: float, *, root: Path = Path("/")
) -> Iterator[Matter]:
    kept = (
        ""
        if any((root / "dev").glob("rtc*"))
        else "; this machine has no clock that runs without power"
    )
    if now < EARLIEST:
        yield fault(
            "clock",
            f"it says {time.strftime('%Y-%m-%d', time.gmtime(now))}{kept}",
            "connect to a network for a minute, or: sudo date -s '2030-01-31 10:00'."
            " Measuring goes on; dates are marked",
        )
    elif synced is False:
        yield told(
            "clock",
            f"not set by a network since the start{kept}: dates are marked as such",
        )
    elif synced:
        yield good("clock", "set by a network")


# ---- disk ----------------------------------------------------------------------------


def disk(log: Path, *, mounts: Path = Path("/proc/self/mounts")) -> Iterator[Matter]:
    """Where the log is, or would be."""
    if log.is_dir():
        yield fault(
            "disk",
            f"the log {log} is a folder",
            f"name a file, such as {log / 'sweepgauge.db'}: --log, SWEEPGAUGE_LOG",
        )
    folder = log.parent
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    stat = os.statvfs(folder)
    free = stat.f_bavail * stat.f_frsize
    if stat.f_flag & os.ST_RDONLY:
        yield fault(
            "disk",
            f"{folder} is read-only",
            "give the log a place of its own that can be written: --log, or the overlay"
            " of the card off",
        )
    elif not os.access(folder, os.W_OK):
        yield fault(
            "disk",
            f"{folder} may not be written by this user",
            f"sudo chown -R $USER {folder}, or another place with --log; the service"
            " has its own",
        )
    if free < LEAST_DISK:
        yield fault(
            "disk",
            f"{free / 2**20:.0f} MiB free for the log in {folder}",
            "make room: when it is full, measuring goes on and nothing more is"
            " recorded",
        )
    else:
        yield good("disk", f"{free / 2**20:.0f} MiB free for the log in {folder}")
    if forgets := _forgets(folder, mounts):
        yield told(
            "disk",
            f"what is written to {folder} is gone when the power goes ({forgets})",
            "give the log a place that stays: --log, or SWEEPGAUGE_LOG",
        )


def _forgets(folder: Path, mounts: Path) -> str | None:
    """The kind of memory that this folder is kept in, where it is memory."""
    try:
        rows = [line.split() for line in mounts.read_text().splitlines()]
    except OSError:
        return None
    kinds = {_plain(row[1]): (row[2], row[3]) for row in rows if len(row) >= 4}

    def kind_of(path: str) -> tuple[str, str]:
        best = max(
            (place for place in kinds if _within(path, place)), key=len, default="/"
        )
        return kinds.get(best, ("", ""))

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


def power(sys_root: Path = Path("/sys")) -> Iterator[Matter]:
    """The board's own word on its supply; the smallest boards have none."""
    for folder in sys_root.glob("class/hwmon/hwmon*"):
        try:
            if (folder / "name").read_text().strip() == "rpi_volt":
                low = (folder / "in0_lcrit_alarm").read_text().strip() == "1"
            else:
                continue
        except OSError:
            continue
        if low:
            yield fault(
                "power",
                "the supply has dropped below 4.63 V, which spoils memory cards",
                "a better supply and a shorter cable; fewer things on its USB sockets",
            )
        else:
            yield good("power", "the supply holds")


def air(sys_root: Path = Path("/sys")) -> Iterator[Matter]:
    for one in read_climate(sys_root):
        said = [f"{one.temperature:.1f} C"] if one.temperature is not None else []
        said += [f"{one.humidity:.0f} % humidity"] if one.humidity is not None else []
        yield told("air", f"{', '.join(said)} ({one.sensor})")


# ---- Python --------------------------------------------------------------------------


def packages(distribution: str = "sweepgauge") -> Iterator[Matter]:
    """What the program needs of other packages: there, new enough, and numpy able to
    start."""
    try:
        needs = importlib.metadata.requires(distribution) or []
    except importlib.metadata.PackageNotFoundError:
        yield told(
            "python",
            f"{distribution} is not installed as a package: what it needs cannot be"
            " told",
        )
        needs = []
    wrong = []
    for need in needs:
        name, least = re.match(r"([\w.-]+)\s*(?:>=\s*([\d.]+))?", need).groups()  # type: ignore[union-attr]
        if "extra ==" in need:
            continue
        try:
            has = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            wrong.append(f"{name} is missing")
            continue
        if least and _number(has) < _number(least):
            wrong.append(f"{name} is {has}, {least} or newer is needed")
    if wrong:
        yield fault(
            "python",
            "; ".join(wrong),
            f"{sys.executable} -m pip install -U {distribution}, or -e .",
        )
    started = subprocess.run(
        [sys.executable, "-c", "import numpy; print(numpy.__version__)"],
        capture_output=True,
        text=True,
        check=False,
    )
    version = sys.version.split()[0]
    if started.returncode:
        last = (started.stderr.strip().splitlines() or ["no word why"])[-1]
        yield fault(
            "python",
            f"numpy does not start: {last}",
            "on a 32-bit system: sudo apt install python3-numpy libopenblas0, in an"
            " environment with --system-site-packages; or take the 64-bit system",
        )
    elif not wrong:
        yield good(
            "python",
            f"{version}, numpy {started.stdout.strip()}, all that is needed is there",
        )


def _number(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version)[:3])
