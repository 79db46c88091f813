"""What the daemon says to its clients.

Lengths in mm, angles in rad, times in s of the daemon's monotonic clock unless named.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.checks.options import Option
from bench.finding import Finding, Unread, Verdict
from bench.gear import Jig, Saw, Square
from bench.procedure.prompt import Ask
from bench.protocol.requests import Tagged

PROTOCOL = 1
UNRECORDED = (
    "NOT RECORDED: it is only in memory, and is written as soon as the disk takes it."
)

LogState = Literal["recording", "saving", "not-recorded"]


class Told(Tagged, frozen=True, kw_only=True):
    """What is told of a check, a move or the set-up, once all it speaks of is on the
    disk.

    recorded False: the log takes nothing, so it is told without that; it is lost if the
    daemon ends before.
    """

    recorded: bool = True


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


class Done(Told, frozen=True, tag="done"):
    """The request was carried out; text may say more."""

    text: str = ""
    ref: int | None = None


class InstrumentState(Tagged, frozen=True, tag="instrument"):
    """How an instrument does; `words` is a whole sentence for a person."""

    name: str
    role: Literal["indicator", "travel", "caliper"]
    # "open", "absent", "busy", "denied", "silent", "no-reading", "garbled", "flooding",
    # "marks"
    state: str
    words: str
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


class Fitted(Told, frozen=True, tag="fitted"):
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
    ask: Ask
    question: str = ""
    verifies: str | None = None
    passes: list[Fitted] = []


class Recording(Tagged, frozen=True, tag="recording"):
    """Whether the log is being written: "recording", "saving ...", or NOT RECORDED and
    why. Sent when it changes, and to a client that comes while it is not well."""

    words: str
    state: LogState = "recording"


class GearReply(Tagged, frozen=True, tag="gear"):
    """What the user owns; also sent to everybody when it changes."""

    jigs: list[Jig]
    saws: list[Saw]
    squares: list[Square]
    leaves: list[float]
    units: Literal["mm", "inch"] = "mm"
    marks: list[float] = []  # empty where a travel instrument is set up
    ref: int | None = None


class CheckKind(msgspec.Struct, frozen=True):
    kind: str
    question: str
    needs: list[str]
    options: list[Option]
    can: bool = True
    why_not: str = ""
    swept: bool = True  # passes are taken; else only with an option that says so
    sided: bool = True  # the indicator stands on a side, which a lean test proves


class ChecksReply(Tagged, frozen=True, tag="checks"):
    checks: list[CheckKind]
    ref: int | None = None


class LearnSaid(Told, frozen=True, tag="learn-said"):
    """How learning goes. "seen" wants a press to be kept, or another Learn to try
    again; "failed" ends it.

    enter: a press answers (keep it, it rests, the leaf is in). on False: nothing is
    learned any more.
    """

    what: Literal["indicator", "travel", "leaf"]
    phase: Literal["asking", "seen", "kept", "failed"]
    words: str
    port: str = ""
    grows: str = ""
    value: float | None = None
    enter: bool = False
    leaf: float | None = None  # mm, of the proof
    step: int = 0  # of the proof: 1 resting, 2 on the leaf
    on: bool = True


class Cable(msgspec.Struct, frozen=True):
    """A serial port that is listened to; `words` is a whole sentence for a person.

    state: "listening", "reads", "silent", "unknown" (bytes that nothing known reads),
    "busy", "denied", "away". role: what it is already set up as; empty where it is
    nothing yet.
    """

    port: str
    name: str
    state: str
    words: str
    value: float | None = None  # mm
    unit: str = "mm"
    age: float | None = None  # s
    role: str = ""


class Cables(Tagged, frozen=True, tag="cables"):
    """All serial ports that nobody holds and what is heard on them; sent while cables
    are looked for.

    first: nothing is set up yet. Empty when they are listened to no longer.
    """

    cables: list[Cable]
    first: bool = False


class LiveSaid(Told, frozen=True, tag="live-said"):
    """The live move as it stands; at most ten a second, when something changed. on
    False ends it.

    to_go: mm still to go in `way` at the place of the move, 0 at the aim. drawn: mm
    that tightening drew it back. wrong: it moves away from the aim. there: it moved to
    the aim and holds. uncertainty: mm, expanded, of `to_go`: it carries no more digits.
    verdict, rotation_left: as it will be once it is tight, null where that is not
    known.
    """

    on: bool
    phase: Literal["stand", "lean", "go", "tighten", "end"]
    words: str
    # a press answers: it stands, leaned, there, tight; undo: slackened again
    enter: bool = False
    end: Literal["left", "right"] | None = None
    way: Literal["away", "toward"] | None = None
    to_go: float | None = None
    past: bool = False
    moved: float | None = None
    target: float | None = None
    tolerance: float | None = None
    drawn: float | None = None
    rotation_left: float | None = None
    verdict: Verdict | None = None
    # as the indicator was said to stand
    stands: Literal["beyond", "behind", "left", "right"] | None = None
    wrong: bool = False
    there: bool = False
    uncertainty: float | None = None


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


class Asking(Told, frozen=True, tag="asking"):
    """What the check in progress wants; sent when it changes. `run` None: no check in
    progress."""

    run: str | None
    check: str | None = None
    jig: str | None = None
    ask: Ask | None = None
    joined: bool = False
    ref: int | None = None
    saw: str | None = None
    question: str = ""
    verifies: str | None = None


class SweepSaid(Told, frozen=True, tag="sweep"):
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


class Points(Tagged, frozen=True, tag="points"):
    """The line as it happens: newly paired travel and reading of the running sweep."""

    sweep: str
    travel: list[float]
    reading: list[float]


class MarkTaken(Told, frozen=True, tag="mark"):
    placement: str
    at: float | None
    number: int
    of: int
    value: float
    words: str = ""


class Saved(Tagged, frozen=True, tag="saved"):
    """It is on the disk: said after the commit, never before."""

    what: Literal["check", "sweep", "finding", "move", "event"]
    id: str


class Concluded(Told, frozen=True, tag="finding"):
    run: str | None
    finding: Finding
    ref: int | None = None


class NotConcluded(Told, frozen=True, tag="no-finding"):
    """The evidence could not carry a finding; the check goes on or was given up."""

    run: str
    words: str


class Notice(Told, frozen=True, tag="notice"):
    """A whole sentence for the person; `about` names what it concerns."""

    about: str
    words: str


class RawBytes(Tagged, frozen=True, tag="bytes"):
    instrument: str
    hex: str


class LogRows(Tagged, frozen=True, tag="log-rows"):
    """Newest first. moves: by finding id what became of its move: "planned", "made",
    "verified".

    superseded: those that a later look at the same check took the place of. unread:
    what lies among them and can no longer be read.
    """

    findings: list[Finding]
    moves: dict[str, str] = {}
    superseded: list[str] = []
    ref: int | None = None
    unread: list[Unread] = []


class LogOne(Tagged, frozen=True, tag="log-one"):
    """One finding with its evidence and what was done about it (both as plain JSON)."""

    finding: Finding
    evidence: msgspec.Raw
    moves: list[msgspec.Raw] = []
    ref: int | None = None


class LogEvent(msgspec.Struct, frozen=True):
    """at: ISO 8601, UTC; synced: whether the clock was known then. about: "indicator",
    "travel", "caliper", "pass", "clock", "log". words: a whole sentence for a person.
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


Said = (
    Version
    | Error
    | Done
    | InstrumentState
    | Readings
    | Rejected
    | StatusReply
    | Asking
    | SweepSaid
    | Points
    | MarkTaken
    | Saved
    | Concluded
    | NotConcluded
    | Notice
    | RawBytes
    | LogRows
    | LogOne
    | LogText
    | LogEventRows
    | Fitted
    | Recording
    | GearReply
    | ChecksReply
    | LearnSaid
    | LiveSaid
    | Cables
)
