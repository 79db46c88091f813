"""One thing that the doctor found: its severity, its evidence and the advice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import msgspec

from bench.doctor.templates import FAULTS, GOOD, NOTES
from bench.render.template import sentence
from bench.units import System

LISTEN = 1.5  # s of listening to a port, where the user does not say


class Diagnostic(msgspec.Struct, frozen=True):
    """about: its subject, one word. code: what it is, in the templates. good: its
    severity: True, False for a fault, None for a note. advice: what to do; a fault
    always has one.

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
    code: str = ""


class ListeningOptions(NamedTuple):
    """spacing: mm of travel wanted between two readings; spacing_named: the user said
    so. units: of the sentences. seconds: of listening to each port."""

    spacing: float
    units: System
    spacing_named: bool = False
    seconds: float = LISTEN


def diagnosis(
    about: str,
    code: str,
    *,
    evidence: tuple[str, ...] = (),
    proposal: Mapping[str, str | int] | None = None,
    figures: dict[str, float] | None = None,
    **values: object,
) -> Diagnostic:
    """A diagnostic by its code in the templates. values: those of its sentences."""
    good = True if code in GOOD else False if code in FAULTS else None
    words, _, advice = {**GOOD, **FAULTS, **NOTES}[code].partition(" | ")
    said = (sentence(words, values), sentence(advice, values))
    fits = None if proposal is None else dict(proposal)
    return Diagnostic(about, good, *said, evidence, fits, figures or {}, code)


def many_times(words: str, count: int) -> str:
    return f"{words}, {count} times"
