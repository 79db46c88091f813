"""The messages from the daemon that answer a question about the log."""

from __future__ import annotations

from typing import Any

import msgspec

from bench.finding import Finding, Unread
from bench.procedure.status_message import StatusMessage
from bench.protocol.base import Tagged


class LogRows(Tagged, frozen=True, tag="log-rows"):
    """Newest first. moves: by finding id what became of its move: "planned", "made",
    "verified".

    superseded: those that a later look at the same check took the place of. unread:
    what lies among them and can no longer be read. distances: by finding id, mm that
    its move was made by, where that was noted. undated: those made before the time was
    known, whose date is what the clock said.
    """

    findings: list[Finding]
    moves: dict[str, str] = {}
    superseded: list[str] = []
    ref: int | None = None
    unread: list[Unread] = []
    distances: dict[str, float] = {}
    undated: list[str] = []


class LogOne(Tagged, frozen=True, tag="log-one"):
    """One finding with its evidence and what was done about it (both as plain JSON).
    undated: see `LogRows`."""

    finding: Finding
    evidence: msgspec.Raw
    moves: list[msgspec.Raw] = []
    ref: int | None = None
    undated: bool = False


class LogEvent(msgspec.Struct, frozen=True):
    """at: ISO 8601, UTC; synced: whether the clock was known then. about: "indicator",
    "travel", "caliper", "pass", "gear", "clock", "log". words: a whole sentence for a
    person.
    """

    at: str
    synced: bool
    kind: str
    about: str
    words: str


class LogEventRows(Tagged, frozen=True, tag="log-event-rows"):
    """Newest first."""

    events: list[LogEvent]
    ref: int | None = None


class LogText(Tagged, frozen=True, tag="log-text"):
    """A piece of an export; `last` ends it. unread: with the last, all that could not
    be read."""

    text: str
    last: bool
    ref: int | None = None
    unread: list[Unread] = []


class Document(Tagged, frozen=True, tag="document"):
    """What a command prints as JSON, made from the log."""

    document: dict[str, Any]
    ref: int | None = None


class LogImported(Tagged, frozen=True, tag="log-imported"):
    """What was taken of an import so far, once it is on the disk; problems: those of
    this piece. Counts are of lines: new results, results that were here, new events,
    and lines left out wholly or in part."""

    lines: int
    taken: int
    known: int
    events: int
    left_out: int
    problems: list[StatusMessage] = []
    ref: int | None = None
