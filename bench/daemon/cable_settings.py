"""What is made of a cable that moved: remarks, and keys of the settings.

Reads and writes the settings file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from bench.daemon.acquisition import Instrument
from bench.daemon.port_listener import PortListener
from bench.daemon.serial_places import short_name
from bench.procedure.status_message import StatusMessage
from bench.settings import edit
from bench.settings.settings_file import Paths, Settings, SettingsError
from bench.stream.motion import PRESSED, PUSHED, Seen, count_shown

Role = Literal["indicator", "travel"]


def values_of(
    what: Role,
    port: str,
    mm: float,
    source: PortListener | Instrument | None,
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
    if isinstance(source, PortListener) and source.proposal is not None:
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


def heard_remark(here: Mapping[str, PortListener | Instrument]) -> StatusMessage:
    """That nothing moves, and which cables there are numbers of."""
    ports = sorted(port for port, one in here.items() if one.last is not None)
    if not ports:
        return StatusMessage("setup-nothing-heard")
    names = ", ".join(short_name(port) for port in ports)
    return StatusMessage("setup-nothing-moved", {"names": names})


def moved_remark(what: Role, seen: Seen) -> StatusMessage:
    """Why what moved is not taken for it."""
    port, mm = seen.moved[0]
    moved = {"name": short_name(port), "far": abs(mm)}
    if seen.outcome == "two":
        several = [(short_name(one), abs(mm)) for one, mm in seen.moved]
        return StatusMessage("setup-several-moved", {"moved": several})
    if seen.outcome == "far":
        return StatusMessage("setup-too-far", moved)
    if seen.outcome == "little":
        least = PRESSED if what == "indicator" else PUSHED
        return StatusMessage("setup-too-little", {**moved, "least": least})
    if seen.outcome == "stays":
        return StatusMessage("setup-stayed", moved)
    return StatusMessage("setup-came-back", moved)


def found_remark(what: Role, port: str, mm: float) -> StatusMessage:
    """Which instrument it is, and which way its number counts."""
    moved = {"name": short_name(port), "far": abs(mm)}
    if what == "indicator":
        code = "setup-indicator-grows" if mm > 0 else "setup-indicator-falls"
    else:
        code = "setup-travel-grows" if mm > 0 else "setup-travel-falls"
    return StatusMessage(code, moved)


def changes_remark(file: str, changes: Sequence[edit.Change]) -> StatusMessage:
    """What the settings file said otherwise."""
    texts = "; ".join(change.text() for change in changes)
    return StatusMessage("setup-changes", {"file": file, "changes": texts})


def write(
    paths: Paths,
    section: Role,
    values: Mapping[str, edit.Value],
    take_from: Role | None,
    inches: bool,
) -> Settings:
    """Write it into the settings file and read that again. Raises SettingsError and
    OSError."""
    settings, gear = paths.settings, paths.gear
    kept = edit.keep(settings, section, values, gear_path=gear, take_from=take_from)
    return (
        edit.write_setting(settings, "units", "inch", gear_path=gear)
        if inches
        else kept
    )


def not_kept_remark(
    error: Exception, path: Path, section: Role, values: Mapping[str, edit.Value]
) -> StatusMessage:
    """Why nothing is kept, and what to do."""
    if isinstance(error, OSError):
        why, by_hand = error.strerror or str(error), edit.as_text(section, values)
        lost = {"path": str(path), "why": why, "by_hand": by_hand}
        return StatusMessage("setup-not-writable", lost)
    fault = "" if isinstance(error, SettingsError) else f"{type(error).__name__}: "
    return StatusMessage("setup-nothing-kept", {"why": f"{fault}{error}"})
