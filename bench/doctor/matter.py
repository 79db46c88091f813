"""One thing that was looked at."""

from __future__ import annotations

import msgspec


class Matter(msgspec.Struct, frozen=True):
    """about: one word. good: None where it is only told. do: the remedy, where there is
    one to give.

    evidence: what a claim rests on. proposal: keys of the settings file that would fit;
    written by people, not by us. figures: numbers in mm, s, mm/s and readings a second,
    by name.
    """

    about: str
    good: bool | None
    words: str
    do: str = ""
    evidence: tuple[str, ...] = ()
    proposal: dict[str, str | int] | None = None
    figures: dict[str, float] = {}


def good(about: str, words: str, **more: object) -> Matter:
    return Matter(about, True, words, **more)  # type: ignore[arg-type]


def told(about: str, words: str, do: str = "", **more: object) -> Matter:
    return Matter(about, None, words, do, **more)  # type: ignore[arg-type]


def fault(about: str, words: str, do: str, **more: object) -> Matter:
    """A fault always comes with what to do."""
    return Matter(about, False, words, do, **more)  # type: ignore[arg-type]
