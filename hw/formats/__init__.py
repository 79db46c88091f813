"""Bytes or bits in, records out: the table of wire formats.

Adding an
instrument is one file here with `make(options)`, a row in the table, a recording with its twin.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import NamedTuple

from hw.formats.shared.options import Option, boolean, choice, exact_ratio, integer, read_all, seconds, span
from hw.reading import Decoder, FormatError

__all__ = ["FORMATS", "Format", "make_decoder", "read_options"]


class Format(NamedTuple):
    """One wire format.

    stream: True when it comes as a byte stream; False when `feed` takes text, one frame a line.
    asking: the ways a reading is had from it, in words.
    asks: the bytes a host may send, by what they are for.
    module: the module of this package that has `make(options) -> Decoder`.
    """

    words: str
    stream: bool
    options: tuple[Option, ...]
    asking: tuple[str, ...]
    module: str
    asks: Mapping[str, bytes] = {}


_UNIT = choice("mm", "inch", also={"in": "inch"})
_LETTER = choice(*"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
_RANGE = Option("range_mm", None, "LO,HI: a value outside is rejected", span)
_DEFAULT_UNIT = Option("default_unit", "mm", "unit when the instrument sends none: mm or in", _UNIT)
_DECIMALS = Option("decimals", None, "places of an instrument that sends no decimal point", integer(0, 9))
_INVERT = Option("invert", False, "complement every bit first (a shifter of one transistor inverts)", boolean)
_GAP = Option(
    "gap_us", 5000, "a pause of the clock longer than this parts two frames, in us", integer(50, 1_000_000)
)


def _edge(default: str) -> Option:
    return Option(
        "edge", default, "clock edge, at our pin, at which a bit is taken", choice("rising", "falling")
    )


PROFILES = ("plain", "code_channel_item", "mux", "mode_letter", "bridge_counts", "bridge")
"""Profiles of `line`."""

FORMATS: dict[str, Format] = {
    "line": Format(
        "ASCII lines over RS-232 or USB-serial",
        True,
        (
            Option("profile", "plain", "shape of a line: " + ", ".join(PROFILES), choice(*PROFILES)),
            _DEFAULT_UNIT,
            _DECIMALS,
            _RANGE,
            Option(
                "parity7", None, "bit 7 of each byte is parity: checked and stripped", choice("even", "odd")
            ),
            Option("judged", False, "plain: its tolerance mark, < = or >, may stand last", boolean),
            Option("at_open", False, "drop everything up to the first line end", boolean),
            Option("channel", None, "mux: give only this channel", integer(1, 4)),
            Option("axis", None, "bridge_counts: give only this axis", _LETTER),
            Option(
                "gauge",
                "decimal",
                "bridge: how the gauge word is written, as a number or as the bits of a clocked format",
                choice("decimal", "sync52", "sync24", "sync48", "bcd28"),
            ),
        ),
        ("continuous", "button", "request", "DTR toggled", "CTS gated"),
        "line",
        {
            "plain: one reading": b"R\r",
            "plain: one reading (query)": b"?\r",
            "plain: print": b"PRI\r",
            "plain: continuous on": b"OUT1\r",
            "plain: continuous off": b"OUT0\r",
            "mux: channel 1": b"1",
            "mux: channel 2": b"2",
            "mux: channel 3": b"3",
            "mux: channel 4": b"4",
            "mux: all": b"A",
            "mux: version": b"V",
        },
    ),
    "sync52": Format(
        "52 bits of BCD, clocked by the gauge on request",
        False,
        (
            _INVERT,
            _RANGE,
            _edge("falling"),
            Option("timeout", 0.3, "how long the gauge may take to answer, s", seconds(0.02, 2.5)),
        ),
        ("request line",),
        "sync52",
    ),
    "sync24": Format(
        "24 bits, sign and magnitude, clocked all the time",
        False,
        (_INVERT, _RANGE, _edge("rising"), _GAP),
        ("continuous",),
        "sync24",
    ),
    "sync48": Format(
        "two 24-bit words of 20480 counts to the inch, clocked all the time",
        False,
        (
            _INVERT,
            _RANGE,
            _edge("falling"),
            _GAP,
            Option("order", "abs_first", "which word comes first", choice("abs_first", "display_first")),
            Option(
                "sign",
                "negated",
                "how the display stands in its word",
                choice("negated", "inverted", "plain"),
            ),
        ),
        ("continuous",),
        "sync48",
    ),
    "bcd28": Format(
        "28 bits of BCD, clocked all the time",
        False,
        (_INVERT, _RANGE, _edge("falling"), _GAP),
        ("continuous",),
        "bcd28",
    ),
    "quad_x4": Format(
        "the two square waves of an incremental scale or encoder", False, (), ("continuous",), "quad_x4"
    ),
    "wedge": Format(
        "a cable that types as a keyboard would",
        False,
        (
            _DEFAULT_UNIT,
            _DECIMALS,
            _RANGE,
            Option("terminator", "ENTER", "the key that ends a reading", choice("ENTER", "TAB")),
            Option(
                "timeout", 0.3, "how long after the last key a reading may still end, s", seconds(0.02, 10)
            ),
        ),
        ("button",),
        "wedge",
    ),
    "modbus_rtu": Format(
        "a 32-bit position in two registers",
        False,
        (
            Option("address", 1, "the device's address", integer(1, 247)),
            Option("register", 0, "the first of the two registers", integer(0, 65534)),
            Option("function", 3, "3 reads holding registers, 4 input registers", integer(3, 4)),
            Option("words", "hi_lo", "which word comes first", choice("hi_lo", "lo_hi")),
            Option("scale_mm", (1, 1000), "mm a count, exact to the decimal text", exact_ratio),
            _RANGE,
            Option("timeout", 0.3, "how long the device may take to answer, s", seconds(0.02, 10)),
        ),
        ("request",),
        "modbus_rtu",
    ),
}


def _format(name: str) -> Format:
    if name not in FORMATS:
        raise FormatError(f"unknown format {name!r}; known are {', '.join(FORMATS)}")
    return FORMATS[name]


def read_options(name: str, options: Mapping[str, object]) -> dict[str, object]:
    """All options of format `name`, given or by default, in their own types.

    Values may be text (`KEY=VALUE` of the command line; range_mm as "LO,HI") or typed (settings).
    Raises FormatError naming the format, key or value and what would do.
    """
    return read_all(f"format {name}", _format(name).options, options)


def make_decoder(name: str, options: Mapping[str, object] | None = None) -> Decoder:
    """A fresh decoder of format `name`; FormatError for an unknown name, option or value."""
    values = read_options(name, options or {})
    decoder: Decoder = import_module(f"{__name__}.{_format(name).module}").make(values)
    return decoder
