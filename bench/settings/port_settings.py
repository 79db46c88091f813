"""Reads how one instrument is wired and how its port speaks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import msgspec

from bench.settings.paths import SettingsError
from bench.settings.toml_table import Table, is_number, without_none
from hw.formats import DEFAULT_FORMAT, FORMATS, read_options
from hw.formats.shared.wire_format import WireFormat
from hw.port_names import WOULD_DO, PortOptions, is_port_name
from hw.reading import FormatError

OptionValue = str | int | float | bool
SendingMode = Literal["continuous", "request", "button"]
# s; half a second tells rest, and readings must be there by then or soon after
LATEST_S = 1.0
_HIGHEST_PIN = 27  # GPIO0 to GPIO27 are on the 40-pin header
_REQUEST_WOULD_DO = 'the text that asks for a reading would do, such as "R\\r"'
_PARITIES = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
# These keys and the options of the formats say how a port speaks: they belong to the
# cable and go with it when another takes its place.
_LINE_KEYS = (
    *("port", "format", "profile", "baud", "bits", "parity", "stop", "dtr", "rts"),
    *("asking", "request", "rate", "settle", "per_count"),
)


def wire_keys() -> set[str]:
    """The keys of a section that belong to its cable, whatever format that has."""
    formats = FORMATS.values()
    of_formats = (key for kind in formats for key in (*kind.option_names, *kind.wires))
    return {*_LINE_KEYS, *of_formats}


class PortSettings(PortOptions, frozen=True):
    """Where one instrument is wired and how it speaks.

    port: empty where pins (BCM numbers by name: data, clock, req; a, b, z) are read
    instead. request: what is sent to ask for a reading, with its line end; rate:
    askings per second. options: of the format, the profile among them, under the names
    that `decode --option` takes.
    """

    format: str = DEFAULT_FORMAT
    profile: str | None = None
    asking: SendingMode = "continuous"
    request: str | None = None
    rate: float | None = None  # Hz; None: as the daemon sees fit
    per_count: float | None = None  # mm, for what sends counts (an encoder, a bridge)
    # s by which its readings are old when they come; taken off their times
    late: float = 0.0
    pins: dict[str, int] = msgspec.field(default_factory=dict)
    options: dict[str, OptionValue] = msgspec.field(default_factory=dict)


def refuse_rest(table: Table, kind: WireFormat) -> None:
    """Nothing may be left over; an option of another format is told as one."""
    for key in table.left:
        if any(key in known.option_names for known in FORMATS.values()):
            _agree(table, kind, {key: table.left[key]})
    table.done()


def read_pin(table: Table, key: str, pins: dict[int, str]) -> int | None:
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


def read_port(
    table: Table, pins: dict[int, str]
) -> tuple[PortSettings | None, WireFormat]:
    """How the instrument is wired, None where the section only describes it; and its
    format."""
    kind = FORMATS[table.choice("format", tuple(FORMATS)) or DEFAULT_FORMAT]
    own_pins = _own_pins(table, kind, pins)
    asking, request = _asking(table)
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
        **without_none(asking=asking, **_line_settings(table)),
    )
    if port.port and port.pins:
        would_do = f"either port or pins ({', '.join(port.pins)}) would do, not both"
        raise table.wrong("port", port.port, would_do)
    wired = bool(port.port or port.pins)
    if wired:
        _refuse_incomplete(table, kind, port)
    _agree(table, kind, options)
    return (port if wired else None), kind


def _line_settings(table: Table) -> dict[str, Any]:
    """How the line runs and when it is read; None where it is not said."""
    return {
        "baud": table.whole("baud", 50, 4_000_000),
        "bits": table.whole("bits", 5, 8),
        "parity": _PARITIES.get(table.choice("parity", tuple(_PARITIES)) or "none"),
        "stop": _stop(table),
        "settle": table.time("settle", 10),
        "dtr": table.yes_no("dtr"),
        "rts": table.yes_no("rts"),
        "rate": table.number("rate", 0.01, 1000),
        "per_count": table.length("per_count"),
        "late": table.time("late", LATEST_S),
    }


def _own_pins(table: Table, kind: WireFormat, pins: dict[int, str]) -> dict[str, int]:
    own = {name: read_pin(table, name, pins) for name in kind.wires}
    own_pins = {name: pin for name, pin in own.items() if pin is not None}
    missing = [name for name in kind.wires[:2] if name not in own_pins]
    if own_pins and missing:
        raise table.wrong(
            missing[0], None, f"a pin number would do, beside {', '.join(own_pins)}"
        )
    return own_pins


def _asking(table: Table) -> tuple[SendingMode | None, str | None]:
    """How readings are asked for, and what is sent for that."""
    asking = table.choice("asking", ("continuous", "request", "button"))
    request = table.checked("request", _is_request, _REQUEST_WOULD_DO)
    if asking == "request" and request is None:
        raise table.wrong("request", None, _REQUEST_WOULD_DO)
    if asking is None and request is not None:
        asking = "request"
    return asking, request


def _stop(table: Table) -> float | None:
    value = table.number("stop", 1, 2)
    if value not in (None, 1, 1.5, 2):
        raise table.wrong("stop", value, "1, 1.5 or 2 would do")
    return value


def _is_request(value: object) -> bool:
    return isinstance(value, str) and value.isascii() and value != ""


def _refuse_incomplete(table: Table, kind: WireFormat, port: PortSettings) -> None:
    """What is wired must say all that its readings are read with."""
    traits = kind.traits_of(port.profile)
    counts = traits.counts and (table.key == "travel" or not traits.gauge)
    if counts and port.per_count is None:
        raise table.wrong(
            "per_count", None, 'the travel of one count would do, such as "0.005 mm"'
        )
    for key, would_do in traits.needs.items():
        if key not in port.options:
            raise table.wrong(key, None, would_do)
    if kind.wires and not port.pins:
        would_do = (
            f"{kind.name} is read from pins: {' and '.join(kind.wires[:2])} would do;"
            " or a microcontroller"
        )
        raise table.wrong("port", port.port, would_do)


def _port_name(table: Table) -> str:
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


def _options(table: Table, kind: WireFormat) -> dict[str, OptionValue]:
    out: dict[str, OptionValue] = {}
    for key in kind.option_names:
        if key == "profile":
            continue
        value = table.take(key)
        if value is None:
            continue
        if isinstance(value, list) and all(map(is_number, value)):
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
