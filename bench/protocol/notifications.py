"""The messages that the daemon sends by itself: states, prompts and notices, while
instruments are set up, a check is taken or a move is made live.

Lengths in mm, angles in rad, times in s of the daemon's monotonic clock unless named.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from bench.finding import Finding, Verdict
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import Severity, StatusMessage
from bench.protocol.base import Message, Notification

ToneName = Literal["ready", "accepted", "refused", "there", "too-far", "nudge"]
SetupSubject = Literal["indicator", "travel", "leaf"]
SetupPhase = Literal["asking", "seen", "kept", "failed"]
LivePhase = Literal["stand", "lean", "go", "tighten", "end"]
LogState = Literal["recording", "saving", "not-recorded"]


class InstrumentState(Message, frozen=True, tag="instrument"):
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


class Readings(Message, frozen=True, tag="readings"):
    """The readings of one block; `first` numbers them without gaps, so that a loss
    shows."""

    instrument: str
    first: int
    at: list[float]
    values: list[float]
    unit: str = "mm"
    flags: list[str] = []


class RejectedFrame(Message, frozen=True, tag="rejected"):
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


class Recording(Message, frozen=True, tag="recording"):
    """The state of recording: "recording", "saving ...", or NOT RECORDED and why. Sent
    when it changes, and to a client that comes while it is not well."""

    words: str = ""
    state: LogState = "recording"
    remarks: list[StatusMessage] = []


class PromptChanged(Notification, frozen=True, tag="asking"):
    """The prompt of the check in progress; sent when it changes. `run` None: no check
    in progress."""

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


class Points(Message, frozen=True, tag="points"):
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


class SavedNotice(Message, frozen=True, tag="saved"):
    """Something is on the disk: told after the commit, never before."""

    what: Literal["check", "sweep", "finding", "move", "event"]
    id: str


class FindingNotice(Notification, frozen=True, tag="finding"):
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


class Tone(Message, frozen=True, tag="tone"):
    """A tone that is heard now; sent unless sound is switched off.

    strokes: s from now at which a bell is rung. "nudge" comes again and again, the
    sooner the less is to go.
    """

    name: ToneName
    strokes: list[float]


class RawBytes(Message, frozen=True, tag="bytes"):
    instrument: str
    hex: str


class SetupNotice(Notification, frozen=True, tag="learn-said"):
    """How learning goes. "seen" wants a press to be kept, or another Learn to try
    again; "failed" ends it.

    enter: a press answers (keep it, it rests, the leaf is in). on False: nothing is
    learned any more.
    """

    what: SetupSubject
    phase: SetupPhase
    words: str = ""
    port: str = ""
    grows: str = ""
    value: float | None = None
    enter: bool = False
    leaf: float | None = None  # mm, of the proof
    step: int = 0  # of the proof: 1 resting, 2 on the leaf
    on: bool = True
    remarks: list[StatusMessage] = []


class Cable(msgspec.Struct, frozen=True):
    """A serial port that is listened to; `words` is a whole sentence for a person.

    state: "listening", "reads", "silent", "unknown" (bytes that nothing known reads),
    "busy", "denied", "away". role: what it is already set up as; empty where it is
    nothing yet.
    """

    port: str
    name: str
    state: str
    words: str = ""
    value: float | None = None  # mm
    unit: str = "mm"
    age: float | None = None  # s
    role: str = ""
    remarks: list[StatusMessage] = []


class Cables(Message, frozen=True, tag="cables"):
    """All serial ports that nobody holds and what is heard on them; sent while cables
    are looked for.

    first: nothing is set up yet. Empty when they are listened to no longer.
    """

    cables: list[Cable]
    first: bool = False


class LiveMoveNotice(Notification, frozen=True, tag="live-said"):
    """The live move as it stands; at most ten a second, when something changed. on
    False ends it.

    to_go: mm still to go in `way` at the place of the move, 0 at the aim. drawn: mm
    that tightening drew it back. wrong: it moves away from the aim. there: it moved to
    the aim and holds. uncertainty: mm, expanded, of `to_go`: it carries no more digits.
    verdict, rotation_left: as it will be once it is tight, null where that is not
    known.
    """

    on: bool
    phase: LivePhase
    words: str = ""
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
    remarks: list[StatusMessage] = []

    @property
    def still_moves(self) -> bool:
        """Whether the latest Enter was not taken, since the number moved."""
        return any(one.code == "live-still-moves" for one in self.remarks)
