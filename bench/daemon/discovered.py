"""From a cable that moved to the keys and texts that a person would write of it. Reads
the settings file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from bench.daemon.acquisition import Instrument
from bench.daemon.port_scanner import Tapped, short_name
from bench.settings import edit
from bench.stream.motion import count_shown

Role = Literal["indicator", "travel"]


def values_of(
    what: Role,
    port: str,
    mm: float,
    source: Tapped | Instrument | None,
    other: Role | None,
    path: Path,
    shown: set[float],
) -> dict[str, edit.Value]:
    """In the order in which they are read. mm: how it moved, in or away positive.
    other: what it was until now.

    shown: values in mm that were seen, for the indicator's count. Raises SettingsError
    for a file that is wrong.
    """
    values: dict[str, edit.Value] = {}
    if isinstance(source, Tapped) and source.proposal is not None:
        heard = source.proposal.settings
        values = {"port": port, **heard}
    elif other is not None:
        values |= edit.wire_of(path, other)
    if what == "travel":
        return {**values, "grows": "away" if mm > 0 else "toward"}
    unit = source.unit if source is not None else "mm"
    count = count_shown(shown, unit)
    if count is not None and not edit.says(path, what, "resolution"):
        figure = f"{count:.6f}".rstrip("0").rstrip(".")
        values["resolution"] = f"{figure} {'in' if unit == 'inch' else 'mm'}"
    return {**values, "grows": "pushed-in" if mm > 0 else "pulled-out"}


def heard_words(here: Mapping[str, Tapped | Instrument]) -> str:
    """Which cables there are numbers of, in words."""
    reading = [port for port, one in here.items() if one.last is not None]
    if not reading:
        return (
            "no instrument is heard: plug its cable in, switch it on, or press its send"
            " button"
        )
    return f"heard: {', '.join(short_name(port) for port in sorted(reading))}"
