"""Wire formats: bytes or bits in, records out; each file declares one format.

A file here with a `FORMAT` (a `WireFormat`) makes a format known, and so does
`register`. The file is imported when its format is first used.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator, Mapping
from importlib import import_module

from hw.formats.shared.declaration import WireFormat
from hw.formats.shared.options import read_all
from hw.reading import Decoder, FormatError

__all__ = [
    "DEFAULT_FORMAT",
    "FORMATS",
    "make_decoder",
    "meaning_of",
    "read_options",
    "register",
]

DEFAULT_FORMAT = "line"  # the format of an instrument whose settings name none


class _Formats(Mapping[str, WireFormat]):
    """Every format by its name, without an import; FormatError for an unknown one."""

    def __init__(self) -> None:
        self._known: dict[str, WireFormat | None] = {
            module.name: None
            for module in pkgutil.iter_modules(__path__)
            if module.name != "shared"
        }

    def __iter__(self) -> Iterator[str]:
        return iter(self._known)

    def __len__(self) -> int:
        return len(self._known)

    def __contains__(self, name: object) -> bool:
        return name in self._known

    def __getitem__(self, name: str) -> WireFormat:
        if name not in self._known:
            raise FormatError(f"unknown format {name!r}; known are {', '.join(self)}")
        found = self._known[name]
        if found is None:
            found = self._known[name] = import_module(f"{__name__}.{name}").FORMAT
        return found

    def add(self, made: WireFormat) -> None:
        if made.name in self:
            raise ValueError(f"there is a format {made.name!r} already")
        self._known[made.name] = made

    def remove(self, name: str) -> None:
        del self._known[name]


FORMATS = _Formats()


def register(made: WireFormat) -> None:
    """Add a format that has no file here. Raises ValueError for a known name."""
    FORMATS.add(made)


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
