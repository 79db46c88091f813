"""What goes into the log and comes out of it, as types; and how a sweep can end. Times:
`monotonic_ns` counts from the machine's start (with its boot id), `wall_s` is seconds
since 1970 UTC and may be wrong until synced.
"""

from __future__ import annotations

import time
from typing import Literal

import msgspec

from bench.checks.model import EvidenceGear, Trace
from bench.checks.options import OptionValue

RunState = Literal["open", "finished", "abandoned"]
SweepState = Literal["running", "whole", "interrupted", "refused", "undone"]
SweepEnd = Literal["whole", "interrupted", "refused"]


class Stamp(msgspec.Struct, frozen=True):
    """One moment by both clocks; synced tells whether the wall clock can be believed."""

    monotonic_ns: int
    wall_s: float
    synced: bool


def now(synced: bool = False) -> Stamp:
    return Stamp(time.monotonic_ns(), time.time(), synced)


class Saved(msgspec.Struct, frozen=True):
    """A commit is on the disk: every act whose ticket is at most `upto` is kept.

    sweeps and findings: ids of those whose end (or whose finding) this commit made
    safe. refused: (ticket, why) of acts that the log could not take (an unknown sweep,
    an id used twice); each is kept as an event of its own, and nobody may be told that
    it was saved.
    """

    upto: int
    sweeps: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()


class EventRow(msgspec.Struct, frozen=True):
    order: int  # the order in which things were recorded, over all boots
    run: str | None
    kind: str
    data: dict[str, object]
    boot_id: str
    monotonic_ns: int
    wall_s: float
    synced: bool


class Happened(msgspec.Struct, frozen=True):
    """Something that an instrument, the clock or the log did, or a pass that was not
    used. wall_s: when, put right if the clock was synced later in the same boot. check,
    placement, reason: of a pass."""

    kind: str
    data: dict[str, object]
    wall_s: float
    synced: bool
    check: str | None = None
    placement: str | None = None
    reason: str | None = None


class SweepRecord(msgspec.Struct, frozen=True):
    """A sweep as kept; `readings` counts the pairs of its trace, or what came raw where
    it has none."""

    order: int
    sweep: str
    run: str
    placement: str
    push: bool | None
    seat: str | None
    hold: str | None
    gather: str
    state: SweepState
    reason: str | None
    readings: int
    boot_id: str
    started_monotonic_ns: int
    started_wall_s: float
    synced: bool
    ended_monotonic_ns: int | None
    trace: Trace | None = None


class OpenRun(msgspec.Struct, frozen=True):
    """A check that was begun and has neither been finished nor abandoned."""

    run: str
    check: str
    jig: str | None
    saw: str | None
    options: dict[str, OptionValue]
    gear: EvidenceGear
    instrument: str | None
    hold: str | None
    begun_wall_s: float
    boot_id: str
    events: list[EventRow]
    sweeps: list[SweepRecord]
    findings: list[str]


class Interrupted(msgspec.Struct, frozen=True):
    """A sweep that was running when the last life ended; readings: how many of one
    instrument were kept."""

    sweep: str
    run: str
    check: str
    placement: str
    readings: int


class Salvage(msgspec.Struct, frozen=True):
    """A damaged log was set aside: where it is now and what could be read out of it."""

    set_aside: str
    sweeps: int
    findings: int
    unreadable: int  # rows that were there and could not be read


class Unfinished(msgspec.Struct, frozen=True):
    """What the last life left. lacking: rows by table that were told as saved and are
    not there.

    words: sentences for the user, most important first; about_log: those of them about
    the log itself.
    """

    runs: list[OpenRun] = []
    interrupted: list[Interrupted] = []
    salvage: Salvage | None = None
    lacking: dict[str, int] = {}
    about_log: list[str] = []
    words: list[str] = []


class LogError(Exception):
    """The log cannot be used; the message says which file and what to do."""


class LogHeld(LogError):
    """Another process writes to this log; the message names it."""


class LogNewer(LogError):
    """The log was written by a newer program; it is left as it is."""


class LogUnknown(LogError):
    """The file is a database, but not a log of ours; it is left as it is."""


class LogDamaged(LogError):
    """Something in the log can no longer be read; the message says what."""
