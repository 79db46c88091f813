"""What is wired where, and what the user owns: the settings file and gear.toml, read
whole or not at all. These are the only readers of TOML. An absent or empty file is a
working default without hardware.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Literal

import msgspec

from bench.gear import Caliper, Gear, Indicator, Travel
from bench.settings.gear_file import GearTables, add_gear
from bench.settings.paths import Paths, SettingsError, default_paths
from bench.settings.toml_table import Table, Written, given, read_toml
from bench.units import System
from hw.formats import DEFAULT_FORMAT, FORMATS, read_options
from hw.formats.shared.declaration import WireFormat
from hw.reading import FormatError

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

OptionValue = str | int | float | bool
Asking = Literal["continuous", "request", "button"]

FEWEST_MARKS = 4  # to fit a line and still see one bad reading
# s; rest is told by half a second, and readings must be there by then or soon after
LATEST = 1.0
_HIGHEST_PIN = 27  # GPIO0 to GPIO27 are on the 40-pin header

_PARITIES = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}

# How a port speaks: these and the options of the formats belong to the cable, and go
# with it when another takes its place.
_LINE_KEYS = (
    *(
        "port",
        "format",
        "profile",
        "baud",
        "bits",
        "parity",
        "stop",
        "asking",
        "request",
        "rate",
    ),
    *("settle", "dtr", "rts", "per_count"),
)


def wire_keys() -> set[str]:
    """The keys of a section that belong to its cable, whatever format that has."""
    known = FORMATS.values()
    return {
        *_LINE_KEYS,
        *(key for one in known for key in (*one.option_names, *one.wires)),
    }


class PortSettings(msgspec.Struct, frozen=True):
    """Where one instrument is wired and how it speaks.

    port: a device or a pyserial URL; empty where pins (BCM numbers by name: data,
    clock, req; a, b, z) are read instead. request: what is sent to ask for a reading,
    with its line end; rate: askings per second. options: of the format, the profile
    among them, under the names that `decode --option` takes.
    """

    port: str = ""
    format: str = DEFAULT_FORMAT
    profile: str | None = None
    baud: int = 9600
    bits: int = 8
    parity: Literal["N", "E", "O", "M", "S"] = "N"
    stop: float = 1
    # s of input to discard after opening, where opening resets the board
    settle: float = 0.0
    dtr: bool | None = None  # None: as the driver leaves it
    rts: bool | None = None
    asking: Asking = "continuous"
    request: str | None = None
    rate: float | None = None  # Hz; None: as the daemon sees fit
    per_count: float | None = None  # mm, for what sends counts (an encoder, a bridge)
    # s by which its readings are old when they come; taken off their times
    late: float = 0.0
    pins: dict[str, int] = {}
    options: dict[str, OptionValue] = {}


class Panel(msgspec.Struct, frozen=True):
    """Pedal, lamp and buzzer as BCM pin numbers."""

    pedal: int | None = None
    lamp: int | None = None
    buzzer: int | None = None


class Settings(msgspec.Struct, frozen=True):
    """All that the files say, in mm, rad and s. A port that is None is not wired."""

    units: System = "mm"
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
    """Both files, checked whole; the first thing wrong is a SettingsError of one line."""
    settings_file = Path(settings_path) if settings_path is not None else None
    gear_file = Path(gear_path) if gear_path is not None else None
    written: list[Written] = []
    top = Table(str(settings_file), "", read_toml(settings_file), written)
    pins: dict[int, str] = {}

    units: System = top.choice("units", ("mm", "inch")) or "mm"
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
    port, kind = _port(table, pins)
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
    _done(table, kind)
    return port, described


def _travel(top: Table, pins: dict[int, str]) -> tuple[PortSettings | None, Travel]:
    table = _section(top, "travel")
    port, kind = _port(table, pins)
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
    _done(table, kind)
    return port, described


def _caliper(top: Table, pins: dict[int, str]) -> tuple[PortSettings | None, Caliper]:
    table = _section(top, "caliper")
    port, kind = _port(table, pins)
    described = Caliper(
        **given(
            resolution=table.length("resolution"), max_error=table.length("max_error")
        )
    )
    _done(table, kind)
    return port, described


def _done(table: Table, kind: WireFormat) -> None:
    """Nothing may be left over; an option of another format is told as one."""
    for key in table.left:
        if any(key in known.option_names for known in FORMATS.values()):
            _agree(table, kind, {key: table.left[key]})
    table.done()


def _panel(top: Table, pins: dict[int, str]) -> Panel | None:
    table = _section(top, "panel")
    panel = Panel(
        **{name: _pin(table, name, pins) for name in ("pedal", "lamp", "buzzer")}
    )
    table.done()
    return panel if panel != Panel() else None


def _pin(table: Table, key: str, pins: dict[int, str]) -> int | None:
    pin = table.whole(key, 0, _HIGHEST_PIN)
    if pin is not None:
        if pin in pins:
            raise table.wrong(
                key,
                pin,
                f"that pin is taken by {pins[pin]}: another from 0 to 27 would do",
            )
        pins[pin] = table.path(key)
    return pin


def _port(table: Table, pins: dict[int, str]) -> tuple[PortSettings | None, WireFormat]:
    """How the instrument is wired, None where the section only describes it; and its
    format."""
    kind = FORMATS[table.choice("format", tuple(FORMATS)) or DEFAULT_FORMAT]
    own_pins = {
        name: pin for name in kind.wires if (pin := _pin(table, name, pins)) is not None
    }
    missing = [name for name in kind.wires[:2] if name not in own_pins]
    if own_pins and missing:
        raise table.wrong(
            missing[0], None, f"a pin number would do, beside {', '.join(own_pins)}"
        )
    asking = table.choice("asking", ("continuous", "request", "button"))
    request = _request(table)
    if asking == "request" and request is None:
        raise table.wrong(
            "request", None, 'the text that asks for a reading would do, such as "R\\r"'
        )
    if asking is None and request is not None:
        asking = "request"
    options = _options(table, kind)
    profile = table.text("profile", next(iter(kind.profiles), "none"))
    if profile is not None:
        options["profile"] = profile
    port = PortSettings(
        port=_port_name(table),
        format=kind.name,
        profile=profile,
        pins=own_pins,
        request=request,
        options=options,
        **given(
            baud=table.whole("baud", 50, 4_000_000),
            bits=table.whole("bits", 5, 8),
            parity=_PARITIES.get(table.choice("parity", tuple(_PARITIES)) or "none"),
            stop=_stop(table),
            settle=table.time("settle", 10),
            dtr=table.yes_no("dtr"),
            rts=table.yes_no("rts"),
            asking=asking,
            rate=table.number("rate", 0.01, 1000),
            per_count=table.length("per_count"),
            late=table.time("late", LATEST),
        ),
    )
    if port.port and port.pins:
        raise table.wrong(
            "port",
            port.port,
            f"either port or pins ({', '.join(port.pins)}) would do, not both",
        )
    if not (port.port or port.pins):
        _agree(table, kind, options)
        return None, kind
    traits = kind.traits_of(profile)
    if (
        traits.counts
        and port.per_count is None
        and (table.key == "travel" or not traits.gauge)
    ):
        raise table.wrong(
            "per_count", None, 'the travel of one count would do, such as "0.005 mm"'
        )
    for key, would_do in traits.needs.items():
        if key not in options:
            raise table.wrong(key, None, would_do)
    if kind.wires and not port.pins:
        would_do = (
            f"{kind.name} is read from pins: {' and '.join(kind.wires[:2])} would do;"
            " or a microcontroller"
        )
        raise table.wrong("port", port.port, would_do)
    _agree(table, kind, options)
    return port, kind


def _port_name(table: Table) -> str:
    from hw.port_names import WOULD_DO, is_port_name

    name = table.text("port", "/dev/serial/by-id/...") or ""
    if name and not is_port_name(name):
        raise table.wrong("port", name, WOULD_DO)
    return name


def _agree(table: Table, kind: WireFormat, options: Mapping[str, object]) -> None:
    """The format itself says which options it has and what they may be."""
    try:
        read_options(kind.name, options)
    except FormatError as error:
        raise SettingsError(
            f"{table.file}: {table.key}: {' '.join(str(error).split())}"
        ) from None


def _stop(table: Table) -> float | None:
    value = table.number("stop", 1, 2)
    if value is not None and value not in (1, 1.5, 2):
        raise table.wrong("stop", value, "1, 1.5 or 2 would do")
    return value


def _request(table: Table) -> str | None:
    value = table.take("request")
    if value is None:
        return None
    if not isinstance(value, str) or not value or not value.isascii():
        raise table.wrong(
            "request",
            value,
            'the text that asks for a reading would do, such as "R\\r"',
        )
    return value


def _options(table: Table, kind: WireFormat) -> dict[str, OptionValue]:
    out: dict[str, OptionValue] = {}
    for key in kind.option_names:
        if key == "profile":
            continue
        value = table.take(key)
        if value is None:
            continue
        if isinstance(value, list) and all(
            isinstance(part, (int, float)) and not isinstance(part, bool)
            for part in value
        ):
            value = ",".join(f"{part!r}" for part in value)
        if not isinstance(value, (str, int, float, bool)):
            raise table.wrong(key, value, "one value, or a list of numbers, would do")
        out[key] = value
    unit = out.get("default_unit", "mm")
    if unit not in ("mm", "in", "inch"):
        raise table.wrong("default_unit", unit, '"mm" or "in" would do')
    if unit == "inch":
        out["default_unit"] = "in"
    return out
