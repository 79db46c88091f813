"""The processes that have a device open, as far as this user may see."""

from __future__ import annotations

import os
from pathlib import Path

PROC = Path("/proc")
# Unix98 slaves (kernel documentation, admin-guide/devices.txt)
PSEUDO_MAJORS = range(136, 144)


def is_pseudo(device: str | os.PathLike[str] | int) -> bool:
    """Whether a path or a descriptor is a pseudo-terminal; the program at its other end
    may have this end open too."""
    return os.major(os.stat(device).st_rdev) in PSEUDO_MAJORS


def holders_of(device: str | os.PathLike[str]) -> list[str]:
    """`name (process 123)` of each other process that has the device open, by its real
    path, as far as this user may see other users' processes."""
    real = os.path.realpath(device)
    out = []
    for folder in sorted(PROC.glob("[0-9]*"), key=lambda folder: int(folder.name)):
        try:
            links = (folder / "fd").iterdir() if folder.name != str(os.getpid()) else ()
            if any(os.readlink(link) == real for link in links):
                name = (folder / "comm").read_text(errors="replace").strip()
                # a process chooses its name itself
                name = name if name.isprintable() else ascii(name)
                out.append(f"{name} (process {folder.name})")
        except OSError:
            continue  # it is another user's, or it ended meanwhile
    return out
