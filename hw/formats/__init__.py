"""Wire formats: bytes or bits in, records out; each file declares one format.

A file here with a `FORMAT` (a `WireFormat`) makes a format known, and so does
`register`.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Mapping
from importlib import import_module

from hw.formats.shared.options import read_all
from hw.formats.shared.wire_format import WireFormat
from hw.reading import Decoder, FormatError

DEFAULT_FORMAT = "line"  # the format of an instrument whose settings name none


class _Formats(dict[str, WireFormat]):
    """Every format by its name; FormatError for an unknown one."""

    def __missing__(self, name: str) -> WireFormat:
        raise FormatError(f"unknown format {name!r}; known are {', '.join(self)}")


FORMATS = _Formats()


def register(made: WireFormat) -> None:
    """Add a format that has no file here. Raises ValueError for a known name."""
    if made.name in FORMATS:
        raise ValueError(f"there is a format {made.name!r} already")
    FORMATS[made.name] = made


def read_options(name: str, options: Mapping[str, object]) -> dict[str, object]:
    """All options of format `name`, given or by default, in their own types.

    Values may be text (`KEY=VALUE` of the command line; range_mm as "LO,HI") or typed
    (settings). Raises FormatError naming the format, key or value and what would do.
    """
    return read_all(f"format {name}", FORMATS[name].options, options)


def make_decoder(
    name: str, options: Mapping[str, object] | None = None, *, from_middle: bool = False
) -> Decoder:
    """A fresh decoder of format `name`; FormatError for an unknown name, option or
    value.

    from_middle: the first bytes may be the rest of a line, as on a port just opened; a
    format with the option at_open drops them.
    """
    given = dict(options or {})
    if from_middle and "at_open" in FORMATS[name].option_names:
        given.setdefault("at_open", True)
    return FORMATS[name].make(read_options(name, given))


def meaning_of(status: str) -> tuple[str, str]:
    """(meaning, advice) of an instrument's own word for "no reading"; an unknown word
    means itself."""
    for known in FORMATS.values():
        if status in known.statuses:
            return known.statuses[status]
    return status.replace("_", " "), "see its display, and its manual for that code"


# the files of the formats use what stands above
for module in pkgutil.iter_modules(__path__):
    if module.name != "shared":
        register(import_module(f"{__name__}.{module.name}").FORMAT)
