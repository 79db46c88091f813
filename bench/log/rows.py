"""Defines what goes into the log and comes out of it, as types, and the log's errors.

`monotonic_ns` counts from the machine's start (compare it only within one boot id).
`wall_s` is seconds since 1970 UTC and may be wrong until the clock is synced.
"""

from __future__ import annotations

import time
from typing import Any, Literal, NamedTuple

import msgspec

from bench.checks.model import Trace


class Stamp(msgspec.Struct, frozen=True):
    """One moment by both clocks; synced: whether the wall clock can be believed."""

    monotonic_ns: int
    wall_s: float
    synced: bool


def now(synced: bool = False) -> Stamp:
    return Stamp(time.monotonic_ns(), time.time(), synced)


class Commit(msgspec.Struct, frozen=True):
    """The extent of what lies on the disk now: every write whose ticket is at most
    `upto`.

    sweeps and findings: ids of those whose end (or whose finding) this commit made
    safe. refused: (ticket, reason) of writes that the log could not take (an unknown
    sweep, an id used twice); each is recorded as an event of its own, and nobody may be
    told that it was saved.
    """

    upto: int
    sweeps: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()


class LoggedEvent(NamedTuple):
    kind: str
    data: dict[str, object]


class ExportedEvent(msgspec.Struct, frozen=True, kw_only=True):
    """An event of a sled, its saw or its square, as somebody told it. data: `jig`,
    `what`, `at` (ISO 8601) and perhaps a `note`. wall_s: when it was said; None: at
    that moment."""

    kind: Literal["gear-event"]
    data: dict[str, str | None]
    wall_s: float | None = None
    clock_synced: bool = True


class Incident(msgspec.Struct, frozen=True):
    """Something that an instrument, the clock or the log did, or a pass that was not
    used. wall_s: when, put right if the clock was synced later in the same boot. check,
    placement, reason: of a pass."""

    kind: str
    data: dict[str, Any]
    wall_s: float
    synced: bool
    check: str | None = None
    placement: str | None = None
    reason: str | None = None


class SweepRecord(NamedTuple):
    """A sweep as kept; state: "running", "whole", "interrupted", "refused" or
    "undone"."""

    sweep: str
    placement: str
    state: str
    reason: str | None
    trace: Trace | None


class OpenCheck(NamedTuple):
    """A check that was begun and has neither been finished nor abandoned."""

    run: str
    check: str
    jig: str | None
    events: list[LoggedEvent]
    sweeps: list[SweepRecord]
    findings: list[str]


class Salvage(msgspec.Struct, frozen=True):
    """A damaged log was set aside: where it is now and what could be read out of it."""

    set_aside: str
    sweeps: int
    findings: int
    unreadable: int  # rows that were there and could not be read


class UnfinishedWork(msgspec.Struct, frozen=True):
    """The work that the last run of the program left unfinished. lacking: rows by table
    that were told as saved and are not there.

    words: sentences for the user, most important first; about_log: those of them about
    the log itself.
    """

    runs: list[OpenCheck] = []
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
