"""One thing that the doctor found: its severity, its evidence and the advice."""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from bench.units import System

LISTEN = 1.5  # s of listening to a port, where the user does not say


class Diagnostic(msgspec.Struct, frozen=True):
    """about: its subject, one word. good: its severity: True, False for a fault, None
    for a note. advice: what to do; a fault always has one.

    evidence: what a claim rests on. proposal: keys of the settings file that would fit;
    people write them, the doctor does not. figures: numbers in mm, s, mm/s and readings
    a second, by name.
    """

    about: str
    good: bool | None
    words: str
    advice: str = msgspec.field(default="", name="do")
    evidence: tuple[str, ...] = ()
    proposal: dict[str, str | int] | None = None
    figures: dict[str, float] = {}


class ListeningOptions(NamedTuple):
    """spacing: mm of travel wanted between two readings; spacing_named: the user said
    so. units: of the sentences. seconds: of listening to each port."""

    spacing: float
    units: System
    spacing_named: bool = False
    seconds: float = LISTEN


def good(about: str, words: str, **more: object) -> Diagnostic:
    return Diagnostic(about, True, words, **more)  # type: ignore[arg-type]


def note(about: str, words: str, advice: str = "", **more: object) -> Diagnostic:
    return Diagnostic(about, None, words, advice, **more)  # type: ignore[arg-type]


def fault(about: str, words: str, advice: str, **more: object) -> Diagnostic:
    return Diagnostic(about, False, words, advice, **more)  # type: ignore[arg-type]


def many_times(words: str, count: int) -> str:
    return f"{words}, {count} times"
