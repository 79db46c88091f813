"""The messages from the daemon to its clients: states, prompts and notices.

Lengths in mm, angles in rad, times in s of the daemon's monotonic clock unless named.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from bench.checks.options import Option
from bench.finding import Finding
from bench.gear import Jig, Saw, Square
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import Severity, StatusMessage
from bench.protocol.base import Notification, Tagged
from bench.protocol.log_replies import (
    Document,
    LogEventRows,
    LogImported,
    LogOne,
    LogRows,
    LogText,
)
from bench.protocol.set_up import Cables, LiveMoveNotice, SetupNotice

PROTOCOL = 1
UNRECORDED = (
    "NOT RECORDED: what waits in memory is written as soon as the disk takes it."
)

ToneName = Literal["ready", "accepted", "refused", "there", "too-far", "nudge"]
LogState = Literal["recording", "saving", "not-recorded"]


class Version(Tagged, frozen=True, tag="version"):
    program: str
    protocol: int = PROTOCOL
    pid: int = 0
    log: str = ""
    units: Literal["mm", "inch"] = "mm"


class Error(Tagged, frozen=True, tag="error"):
    # "bad-message", "wrong-use", "busy", "no-check", "not-found", "not-recorded"
    code: str
    text: str
    ref: int | None = None


class Done(Notification, frozen=True, tag="done"):
    """The request was carried out; a text without remarks is a word for the program."""

    text: str = ""
    ref: int | None = None
    remarks: list[StatusMessage] = []


class InstrumentState(Tagged, frozen=True, tag="instrument"):
    """How an instrument does; `words` is a whole sentence for a person, made from
    `remarks` in `bench.render`."""

    name: str
    role: Literal["indicator", "travel", "caliper"]
    # "open", "absent", "busy", "denied", "silent", "no-reading", "garbled", "flooding",
    # "marks"
    state: str
    words: str = ""
    port: str = ""
    rate: float | None = None  # readings a second
    age: float | None = None  # s since the last reading
    value: float | None = None  # mm
    unit: str = "mm"
    readings: int = 0
    rejects: int = 0
    held: int = 0  # well-formed readings held back because nothing moves so fast
    grows: str = ""  # "pushed-in", "pulled-out"; "away", "toward"
    # "hold", "missed_edge": it reads, and what it reads just now is not used
    spoiled: str = ""
    remarks: list[StatusMessage] = []


class Readings(Tagged, frozen=True, tag="readings"):
    """The readings of one block; `first` numbers them without gaps, so that a loss
    shows."""

    instrument: str
    first: int
    at: list[float]
    values: list[float]
    unit: str = "mm"
    flags: list[str] = []


class Rejected(Tagged, frozen=True, tag="rejected"):
    """A frame that was refused, or a device's word that it has no reading."""

    instrument: str
    at: float
    fault: str | None
    status: str | None
    raw: str


class FittedPass(Notification, frozen=True, tag="fitted"):
    """A kept pass when the arithmetic has looked at it: its points, thinned, those set
    aside all among them.

    aside: indices into travel and reading. The line is reading = intercept + slope *
    travel.
    """

    sweep: str
    placement: str
    push: bool
    travel: list[float]
    reading: list[float]
    aside: list[int]
    slope: float
    intercept: float
    words: str = ""


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


class Recording(Tagged, frozen=True, tag="recording"):
    """Whether the log is being written: "recording", "saving ...", or NOT RECORDED and
    why. Sent when it changes, and to a client that comes while it is not well."""

    words: str = ""
    state: LogState = "recording"
    remarks: list[StatusMessage] = []


class GearReply(Tagged, frozen=True, tag="gear"):
    """What the user owns; also sent to everybody when it changes."""

    jigs: list[Jig]
    saws: list[Saw]
    squares: list[Square]
    leaves: list[float]
    units: Literal["mm", "inch"] = "mm"
    marks: list[float] = []  # empty where a travel instrument is set up
    sound: bool = True  # tones are sent
    ref: int | None = None


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


class ChecksReply(Tagged, frozen=True, tag="checks"):
    checks: list[CheckKind]
    ref: int | None = None


class StatusReply(Tagged, frozen=True, tag="status-reply"):
    program: str
    log: str
    recording: str  # the words of `Recording`
    instruments: list[InstrumentState]
    run: RunState | None
    last: list[Finding]
    notes: list[str] = []
    ref: int | None = None
    told: int = 0  # so many of the notes, the first ones, somebody at a screen has seen
    log_state: LogState = "recording"


class PromptChanged(Notification, frozen=True, tag="asking"):
    """What the check in progress wants; sent when it changes. `run` None: no check in
    progress."""

    run: str | None
    check: str | None = None
    jig: str | None = None
    ask: Prompt | None = None
    joined: bool = False
    ref: int | None = None
    saw: str | None = None
    question: str = ""
    verifies: str | None = None
    options: dict[str, Any] = {}  # of the check, by the names that it declares


class PassNotice(Notification, frozen=True, tag="sweep"):
    """A sweep began, was kept, refused or undone. Kept is said when it is on the disk,
    measured where that cannot be."""

    sweep: str
    placement: str
    state: Literal["running", "kept", "measured", "refused", "undone", "back"]
    push: bool | None = None
    taken: int = 0
    wanted: int = 0
    readings: int = 0
    slope: float | None = None
    length: float | None = None
    words: str = ""
    remarks: list[StatusMessage] = []


class Points(Tagged, frozen=True, tag="points"):
    """The line as it happens: newly paired travel and reading of the running sweep."""

    sweep: str
    travel: list[float]
    reading: list[float]


class MarkNotice(Notification, frozen=True, tag="mark"):
    placement: str
    at: float | None
    number: int
    of: int
    value: float
    words: str = ""
    remarks: list[StatusMessage] = []


class Saved(Tagged, frozen=True, tag="saved"):
    """It is on the disk: said after the commit, never before."""

    what: Literal["check", "sweep", "finding", "move", "event"]
    id: str


class Concluded(Notification, frozen=True, tag="finding"):
    run: str | None
    finding: Finding
    ref: int | None = None


class NoFinding(Notification, frozen=True, tag="no-finding"):
    """The evidence could not carry a finding; the check goes on or was given up."""

    run: str
    words: str = ""
    remarks: list[StatusMessage] = []


class Notice(Notification, frozen=True, tag="notice"):
    """One thing that the person is told; `about` names what it concerns.

    code, values: of a `Remark`, from which the words are made.
    """

    about: str
    words: str = ""
    code: str = ""
    values: dict[str, Any] = {}
    severity: Severity = "note"


def notice(
    about: str,
    remark: StatusMessage,
    severity: Severity = "note",
    *,
    recorded: bool = True,
) -> Notice:
    """A notice of one remark."""
    return Notice(
        about,
        code=remark.code,
        values=remark.values,
        severity=severity,
        recorded=recorded,
    )


class Tone(Tagged, frozen=True, tag="tone"):
    """What is heard now; sent unless sound is switched off.

    strokes: s from now at which a bell is rung. "nudge" comes again and again, the
    sooner the less is to go.
    """

    name: ToneName
    strokes: list[float]


class RawBytes(Tagged, frozen=True, tag="bytes"):
    instrument: str
    hex: str


AnyNotification = (
    Version
    | Error
    | Done
    | InstrumentState
    | Readings
    | Rejected
    | StatusReply
    | PromptChanged
    | PassNotice
    | Points
    | MarkNotice
    | Saved
    | Concluded
    | NoFinding
    | Notice
    | Tone
    | RawBytes
    | LogRows
    | LogOne
    | LogText
    | LogEventRows
    | Document
    | LogImported
    | FittedPass
    | Recording
    | GearReply
    | ChecksReply
    | SetupNotice
    | LiveMoveNotice
    | Cables
)
