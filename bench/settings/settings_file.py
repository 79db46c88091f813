"""Reads the settings file and gear.toml whole, or refuses them with one line.

An absent or empty file is a working default without hardware.
"""

from __future__ import annotations

import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import msgspec

from bench.gear import Caliper, Gear, Indicator, Travel
from bench.settings.gear_file import GearTables
from bench.settings.paths import Paths, SettingsError, default_paths
from bench.settings.port_settings import PortSettings, read_pin, read_port, refuse_rest
from bench.settings.toml_table import (
    Readers,
    Table,
    WrittenFigure,
    figure,
    one_of,
    read_toml,
)
from bench.units import System

__all__ = [
    "PanelSettings",
    "Paths",
    "PortSettings",
    "Role",
    "Settings",
    "SettingsError",
    "WrittenFigure",
    "default_paths",
    "load",
]

Role = Literal["indicator", "travel", "caliper"]  # of an instrument
FEWEST_TRAVEL_MARKS = 4  # to fit a line and still see one bad reading


class PanelSettings(msgspec.Struct, frozen=True):
    """Pedal, lamp and buzzer as BCM pin numbers."""

    pedal: int | None = None
    lamp: int | None = None
    buzzer: int | None = None


class Settings(msgspec.Struct, frozen=True):
    """All that the files say, in mm, rad and s. A port that is None is not wired."""

    units: System = "mm"
    sound: bool = True  # tones for buzzer and bell
    gear: Gear = Gear()
    indicator: PortSettings | None = None
    travel: PortSettings | None = None
    caliper: PortSettings | None = None
    panel: PanelSettings | None = None
    settings_file: str | None = None  # None: none was found, the defaults hold
    written: tuple[WrittenFigure, ...] = ()

    @property
    def wired(self) -> dict[Role, PortSettings]:
        """The ports by what hangs on them."""
        roles: tuple[Role, ...] = ("indicator", "travel", "caliper")
        ports = {role: getattr(self, role) for role in roles}
        return {role: port for role, port in ports.items() if port is not None}


def load(
    settings_path: Path | str | None = None,
    gear_path: Path | str | None = None,
    *,
    text: str | None = None,
) -> Settings:
    """Both files, checked whole; what is wrong first is a SettingsError of one line.
    text: sound TOML that is not in the settings file yet."""
    settings_file = Path(settings_path) if settings_path is not None else None
    gear_file = Path(gear_path) if gear_path is not None else None
    written: list[WrittenFigure] = []
    values = read_toml(settings_file) if text is None else tomllib.loads(text)
    top = Table(str(settings_file), "", values, written)
    pins: dict[int, str] = {}

    units: System = top.choice("units", ("mm", "inch")) or "mm"
    sound = top.yes_no("sound")
    ports, said = {}, {}
    for name, readers in DESCRIBED.items():
        ports[name], said[name] = _instrument(top, name, readers, pins)
    panel = _panel(top, pins)
    tables = _gear_tables(top, gear_file)
    found = settings_file and (text is not None or settings_file.exists())
    gear = Gear(
        indicator=Indicator(**said["indicator"]),
        travel=Travel(by_marks=ports["travel"] is None, **said["travel"]),
        caliper=Caliper(**said["caliper"]),
        saws=tables.saws,
        jigs=tables.jigs,
        squares=tables.squares,
        leaves=tables.leaves or (),
    )
    return Settings(
        units=units,
        sound=sound is not False,
        gear=gear,
        **ports,
        panel=panel,
        settings_file=str(settings_file) if found else None,
        written=tuple(written),
    )


# what describes an instrument, beside how it is wired
INDICATOR_KEYS: Readers = {
    "resolution": Table.length,
    "max_error": Table.length,
    "short_span_error": Table.length,
    "grows": one_of("pushed-in", "pulled-out"),
    "tilt": figure("angle"),
    "age": figure("time", 10),
}
TRAVEL_KEYS: Readers = {
    "scale_error": figure("share"),
    "grows": one_of("away", "toward"),
    "marks": lambda table, key: table.lengths(key, "place"),
}
CALIPER_KEYS: Readers = {"resolution": Table.length, "max_error": Table.length}
DESCRIBED = {
    "indicator": INDICATOR_KEYS,
    "travel": TRAVEL_KEYS,
    "caliper": CALIPER_KEYS,
}


def _gear_tables(top: Table, gear_file: Path | None) -> GearTables:
    """The gear of both files; nothing may be left over in them."""
    tables = GearTables()
    tables.read(top)
    top.done()
    if gear_file is not None and str(gear_file) != top.file:
        own = Table(str(gear_file), "", read_toml(gear_file), top.written)
        tables.read(own)
        own.done()
    tables.check_saws()
    return tables


def _section(top: Table, name: str) -> Table:
    values = top.take(name)
    return Table(top.file, name, values if values is not None else {}, top.written)


def _instrument(
    top: Table, name: str, readers: Readers, pins: dict[int, str]
) -> tuple[PortSettings | None, dict[str, Any]]:
    """How it is wired, and what is said of it."""
    table = _section(top, name)
    port, kind = read_port(table, pins)
    if port is not None and "marks" in table.left and "marks" in readers:
        would_do = (
            f"either marks or {'port' if port.port else 'pins'} would do: the sled"
            " stops at marks or is read"
        )
        raise table.wrong("marks", table.left["marks"], would_do)
    said = table.values(readers)
    marks = said.get("marks")
    rises = all(a < b for a, b in pairwise(marks or ()))
    if marks is not None and (len(marks) < FEWEST_TRAVEL_MARKS or not rises):
        would_do = "four or more places, each farther than the one before, would do"
        raise table.wrong("marks", list(marks), would_do)
    refuse_rest(table, kind)
    return port, said


def _panel(top: Table, pins: dict[int, str]) -> PanelSettings | None:
    table = _section(top, "panel")
    panel = PanelSettings(
        **{name: read_pin(table, name, pins) for name in ("pedal", "lamp", "buzzer")}
    )
    table.done()
    return panel if panel != PanelSettings() else None
