"""Reads the settings file and gear.toml whole, or refuses them with one line.

An absent or empty file is a working default without hardware.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import msgspec

from bench.gear import Caliper, Gear, Indicator, Travel
from bench.settings.gear_file import GearTables, add_gear
from bench.settings.paths import Paths, SettingsError, default_paths
from bench.settings.port_settings import PortSettings, read_pin, read_port, refuse_rest
from bench.settings.toml_table import Table, Written, given, read_toml
from bench.units import System

__all__ = [
    "Panel",
    "Paths",
    "PortSettings",
    "Settings",
    "SettingsError",
    "Written",
    "add_gear",
    "default_paths",
    "load",
]

FEWEST_MARKS = 4  # to fit a line and still see one bad reading


class Panel(msgspec.Struct, frozen=True):
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
    panel: Panel | None = None
    settings_file: str | None = None  # None: none was found, the defaults hold
    gear_file: str | None = None
    written: tuple[Written, ...] = ()


def load(
    settings_path: Path | str | None = None, gear_path: Path | str | None = None
) -> Settings:
    """Both files, checked whole; what is wrong first is a SettingsError of one line."""
    settings_file = Path(settings_path) if settings_path is not None else None
    gear_file = Path(gear_path) if gear_path is not None else None
    written: list[Written] = []
    top = Table(str(settings_file), "", read_toml(settings_file), written)
    pins: dict[int, str] = {}

    units: System = top.choice("units", ("mm", "inch")) or "mm"
    sound = top.yes_no("sound")
    indicator_port, indicator = _indicator(top, pins)
    travel_port, travel = _travel(top, pins)
    caliper_port, caliper = _caliper(top, pins)
    panel = _panel(top, pins)

    tables = GearTables()
    tables.read(top)
    top.done()
    if gear_file is not None and gear_file != settings_file:
        own = Table(str(gear_file), "", read_toml(gear_file), written)
        tables.read(own)
        own.done()
    tables.check_saws()
    return Settings(
        units=units,
        sound=sound is not False,
        gear=Gear(
            indicator=indicator,
            travel=travel,
            caliper=caliper,
            saws=tables.saws,
            jigs=tables.jigs,
            squares=tables.squares,
            leaves=tables.leaves or (),
        ),
        indicator=indicator_port,
        travel=travel_port,
        caliper=caliper_port,
        panel=panel,
        settings_file=(
            str(settings_file)
            if settings_file is not None and settings_file.exists()
            else None
        ),
        gear_file=(
            str(gear_file) if gear_file is not None and gear_file.exists() else None
        ),
        written=tuple(written),
    )


def _section(top: Table, name: str) -> Table:
    values = top.take(name)
    return Table(top.file, name, values if values is not None else {}, top.written)


def _indicator(
    top: Table, pins: dict[int, str]
) -> tuple[PortSettings | None, Indicator]:
    table = _section(top, "indicator")
    port, kind = read_port(table, pins)
    described = Indicator(
        **given(
            resolution=table.length("resolution"),
            max_error=table.length("max_error"),
            short_span_error=table.length("short_span_error"),
            grows=table.choice("grows", ("pushed-in", "pulled-out")),
            tilt=table.angle("tilt", 0.5),
            age=table.time("age", 10),
        )
    )
    refuse_rest(table, kind)
    return port, described


def _travel(top: Table, pins: dict[int, str]) -> tuple[PortSettings | None, Travel]:
    table = _section(top, "travel")
    port, kind = read_port(table, pins)
    if port is not None and "marks" in table.left:
        where = "port" if port.port else "pins"
        raise table.wrong(
            "marks",
            table.left["marks"],
            f"either marks or {where} would do: the sled stops at marks or is read",
        )
    marks = table.lengths("marks", zero=True)
    if marks is not None and (
        len(marks) < FEWEST_MARKS or any(b <= a for a, b in pairwise(marks))
    ):
        raise table.wrong(
            "marks",
            list(marks),
            "four or more places, each farther than the one before, would do",
        )
    described = Travel(
        by_marks=port is None,
        **given(
            scale_error=table.share("scale_error"),
            grows=table.choice("grows", ("away", "toward")),
            marks=marks,
        ),
    )
    refuse_rest(table, kind)
    return port, described


def _caliper(top: Table, pins: dict[int, str]) -> tuple[PortSettings | None, Caliper]:
    table = _section(top, "caliper")
    port, kind = read_port(table, pins)
    described = Caliper(
        **given(
            resolution=table.length("resolution"), max_error=table.length("max_error")
        )
    )
    refuse_rest(table, kind)
    return port, described


def _panel(top: Table, pins: dict[int, str]) -> Panel | None:
    table = _section(top, "panel")
    panel = Panel(
        **{name: read_pin(table, name, pins) for name in ("pedal", "lamp", "buzzer")}
    )
    table.done()
    return panel if panel != Panel() else None
