"""The serial cables of this machine, by the names of theirs that stay."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

# below /dev, the best names first: those of the system, and of systemd/*.rules
NAME_FOLDERS = (
    "serial/by-id",
    "sweepgauge/by-number",
    "serial/by-path",
    "sweepgauge/by-socket",
)


class SerialCable(NamedTuple):
    """A serial cable: its device and its stable names, the best first."""

    device: Path
    names: tuple[Path, ...]

    @property
    def name(self) -> str:
        return str(self.names[0])


def find_cables(dev: Path = Path("/dev")) -> list[SerialCable]:
    """Every serial cable that has a stable name, each once."""
    names: dict[Path, list[Path]] = {}
    for folder in NAME_FOLDERS:
        for link in sorted((dev / folder).glob("*")):
            if (device := link.resolve()).exists():
                names.setdefault(device, []).append(link)
    return [
        SerialCable(device, tuple(links)) for device, links in sorted(names.items())
    ]
