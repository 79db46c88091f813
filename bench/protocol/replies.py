"""The messages that answer a request: how things stand, and what the log holds."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from bench.checks.options import Option
from bench.finding import Finding, UnreadableRecord
from bench.gear import Jig, Saw, Square
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import StatusMessage
from bench.protocol.base import Message, Notification, Reply
from bench.protocol.notifications import FittedPass, InstrumentState, LogState

PROTOCOL = 1  # version of these messages
UNRECORDED = (
    "NOT RECORDED: what waits in memory is written as soon as the disk takes it."
)


class Version(Message, frozen=True, tag="version"):
    program: str
    protocol: int = PROTOCOL
    pid: int = 0
    log: str = ""
    units: Literal["mm", "inch"] = "mm"


class Error(Reply, frozen=True, tag="error"):
    # "bad-message", "wrong-use", "busy", "no-check", "not-found", "not-recorded"
    code: str
    text: str


class Done(Notification, frozen=True, tag="done"):
    """The request was carried out; a text without remarks is a word for the program."""

    text: str = ""
    ref: int | None = None
    remarks: list[StatusMessage] = []


class RunState(msgspec.Struct, frozen=True):
    id: str
    check: str
    jig: str | None
    saw: str | None
    ask: Prompt
    question: str = ""
    verifies: str | None = None
    passes: list[FittedPass] = []
    options: dict[str, Any] = {}


class GearReply(Reply, frozen=True, tag="gear"):
    """The user's gear; also sent to everybody when it changes."""

    jigs: list[Jig]
    saws: list[Saw]
    squares: list[Square]
    leaves: list[float]
    units: Literal["mm", "inch"] = "mm"
    marks: list[float] = []  # empty where a travel instrument is set up
    sound: bool = True  # tones are sent


class CheckKind(msgspec.Struct, frozen=True):
    kind: str
    question: str
    needs: list[str]
    options: list[Option]
    can: bool = True
    why_not: str = ""
    swept: bool = True  # passes are taken; else only with an option that says so
    # a lean test proves on which side of what is swept the indicator stands
    sided: bool = True
    # it is verified in one set-up where the result before tells the square's error
    verifies: bool = False
    # it tells how a sled fence turns, across the user's own board
    turns_fence: bool = False
    # of its first set-up: the code of the drawing, and the indicator's side
    picture: str | None = None
    side: Literal["left", "right"] | None = None


class ChecksReply(Reply, frozen=True, tag="checks"):
    checks: list[CheckKind]


class StatusReply(Reply, frozen=True, tag="status-reply"):
    program: str
    log: str
    recording: str  # the words of `Recording`
    instruments: list[InstrumentState]
    run: RunState | None
    last: list[Finding]
    notes: list[str] = []
    told: int = 0  # so many of the notes, the first ones, somebody at a screen has seen
    log_state: LogState = "recording"


class LogRows(Reply, frozen=True, tag="log-rows"):
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
    unread: list[UnreadableRecord] = []
    distances: dict[str, float] = {}
    undated: list[str] = []


class LogOne(Reply, frozen=True, tag="log-one"):
    """One finding with its evidence and what was done about it (both as plain JSON).
    undated: see `LogRows`."""

    finding: Finding
    evidence: msgspec.Raw
    moves: list[msgspec.Raw] = []
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


class LogEventRows(Reply, frozen=True, tag="log-event-rows"):
    """Newest first."""

    events: list[LogEvent]


class LogText(Reply, frozen=True, tag="log-text"):
    """A piece of an export; `last` ends it. unread: with the last, all that could not
    be read."""

    text: str
    last: bool
    unread: list[UnreadableRecord] = []


class Document(Reply, frozen=True, tag="document"):
    """A document made from the log, which a command prints as JSON."""

    document: dict[str, Any]


class LogImported(Reply, frozen=True, tag="log-imported"):
    """The counts of an import so far, once it is on the disk; problems: those of this
    piece. Counts are of lines: new results, results that were here, new events, and
    lines left out wholly or in part."""

    lines: int
    taken: int
    known: int
    events: int
    left_out: int
    problems: list[StatusMessage] = []
