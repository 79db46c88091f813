"""The messages between the daemon and its clients: one JSON object a line over a Unix socket.

The daemon speaks first (`version`). A request may carry `ref`, which its answer repeats. A bad request is
answered by `error`; a message of a type that is not known is skipped by a client and answered by an error
from the daemon. Lengths in mm, angles in rad, times in s of the daemon's monotonic clock unless named.
May import: bench.asking, bench.checks.model, bench.finding, bench.gear, msgspec.
"""

from __future__ import annotations

from typing import Literal, TypeVar

import msgspec

from bench.asking import Ask
from bench.checks.model import Option
from bench.finding import Finding, Move, Quantity, Verdict
from bench.gear import Jig, Saw, Square

_T = TypeVar("_T")

PROTOCOL = 1
LONGEST_REQUEST = 65536  # bytes; a client that sends a longer line is dropped

OptionValue = str | float | int | bool | None


class _Tagged(msgspec.Struct, frozen=True, tag_field="type", omit_defaults=False):
    pass


# ---- requests ---------------------------------------------------------------------------------------


class GetStatus(_Tagged, frozen=True, tag="status"):
    ref: int | None = None


class Watch(_Tagged, frozen=True, tag="watch"):
    """Live readings from now on, or no longer; `most` messages a second per instrument at the most."""

    on: bool = True
    most: float | None = None
    ref: int | None = None


class Begin(_Tagged, frozen=True, tag="begin"):
    """Begin a check; the same check already in progress is joined where it stands."""

    check: str
    jig: str | None = None
    saw: str | None = None
    square: str | None = None
    sweeps: int = 3
    lean: bool = False
    beat: float | None = None  # s between the beats that ask for marks; None: no beat
    options: dict[str, OptionValue] = {}
    verifies: str | None = None  # finding that a move was made on
    ref: int | None = None


class Press(_Tagged, frozen=True, tag="press"):
    """Enter, or the pedal: acknowledge, placed, take the mark. `waits`: keep it if nothing asks for it yet."""

    waits: bool = True
    ref: int | None = None


class Undo(_Tagged, frozen=True, tag="undo"):
    """Take back the last kept pass of the check in progress."""

    ref: int | None = None


class Abandon(_Tagged, frozen=True, tag="abandon"):
    """End the check in progress without a finding; what was measured stays in the log."""

    ref: int | None = None


class Moved(_Tagged, frozen=True, tag="moved"):
    """The move of a finding was made; distance as far as the user knows it."""

    finding: str | None = None  # the latest with a move where None
    jig: str | None = None
    distance: float | None = None
    how: str = ""
    ref: int | None = None


class Capture(_Tagged, frozen=True, tag="capture"):
    """Raw bytes of one instrument from now on, as `bytes` messages."""

    instrument: str | None = None
    on: bool = True
    ref: int | None = None


class Extend(_Tagged, frozen=True, tag="extend"):
    """Too close to call: the same check goes on with so many pushes more in every set-up."""

    sweeps: int = 3
    finding: str | None = None  # the latest where None
    ref: int | None = None


class GetGear(_Tagged, frozen=True, tag="get-gear"):
    ref: int | None = None


class GetChecks(_Tagged, frozen=True, tag="get-checks"):
    ref: int | None = None


class PutJig(_Tagged, frozen=True, tag="put-jig"):
    """Keep a sled in gear.toml beside the log; one of that name already there is replaced."""

    jig: Jig
    ref: int | None = None


class PutSaw(_Tagged, frozen=True, tag="put-saw"):
    saw: Saw
    ref: int | None = None


class PutSquare(_Tagged, frozen=True, tag="put-square"):
    square: Square
    ref: int | None = None


class PutLeaves(_Tagged, frozen=True, tag="put-leaves"):
    leaves: list[float]
    ref: int | None = None


class Learn(_Tagged, frozen=True, tag="learn"):
    """First start: find the port that moves when the plunger is pressed or the sled pushed, and its direction.

    "leaf": slip a leaf of `leaf` mm under the tip: proves unit and sign. on False ends it.
    """

    what: Literal["indicator", "travel", "leaf"]
    on: bool = True
    leaf: float | None = None
    ref: int | None = None


class Live(_Tagged, frozen=True, tag="live"):
    """Make the move with the remaining distance live. The indicator stands on the jig, reading the fence.

    touches: the fence's face, or the arm of a square on it. stands: for the fence, beyond its face looking
    back at you or behind it; for the arm, on its left or right. from_pivot: mm along the fence from the pivot
    to the tip (the stop where None); for the arm, mm beyond the pivot line.
    """

    on: bool = True
    finding: str | None = None  # the latest with a move where None
    touches: Literal["fence", "arm"] = "fence"
    stands: Literal["beyond", "behind", "left", "right"] = "beyond"
    from_pivot: float | None = None
    ref: int | None = None


class LogList(_Tagged, frozen=True, tag="log-list"):
    jig: str | None = None
    check: str | None = None
    most: int = 50
    ref: int | None = None


class LogShow(_Tagged, frozen=True, tag="log-show"):
    id: str
    ref: int | None = None


class LogExport(_Tagged, frozen=True, tag="log-export"):
    id: str | None = None
    ref: int | None = None


Request = (
    GetStatus
    | Watch
    | Begin
    | Press
    | Undo
    | Abandon
    | Moved
    | Capture
    | Extend
    | GetGear
    | GetChecks
    | PutJig
    | PutSaw
    | PutSquare
    | PutLeaves
    | Learn
    | Live
    | LogList
    | LogShow
    | LogExport
)


# ---- what the daemon says ---------------------------------------------------------------------------


class Version(_Tagged, frozen=True, tag="version"):
    program: str
    protocol: int = PROTOCOL
    pid: int = 0
    log: str = ""
    units: Literal["mm", "inch"] = "mm"


class Error(_Tagged, frozen=True, tag="error"):
    code: str  # "bad-message", "wrong-use", "busy", "no-check", "not-found", "not-recorded"
    text: str
    ref: int | None = None


class Done(_Tagged, frozen=True, tag="done"):
    """The request was carried out; text may say more."""

    text: str = ""
    ref: int | None = None


class InstrumentState(_Tagged, frozen=True, tag="instrument"):
    """How an instrument does; `words` is a whole sentence for a person."""

    name: str
    role: Literal["indicator", "travel", "caliper"]
    state: str  # "open", "absent", "busy", "denied", "silent", "garbled", "flooding", "marks"
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


class Readings(_Tagged, frozen=True, tag="readings"):
    """The readings of one block; `first` numbers them without gaps, so that a loss shows."""

    instrument: str
    first: int
    at: list[float]
    values: list[float]
    unit: str = "mm"
    flags: list[str] = []


class Rejected(_Tagged, frozen=True, tag="rejected"):
    """A frame that was refused, or a device's word that it has no reading."""

    instrument: str
    at: float
    fault: str | None
    status: str | None
    raw: str


class Fitted(_Tagged, frozen=True, tag="fitted"):
    """A kept pass when the arithmetic has looked at it: its points, thinned, those set aside all among them.

    aside: indices into travel and reading. The line is reading = intercept + slope * travel.
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


class Recording(_Tagged, frozen=True, tag="recording"):
    """Whether the log is being written: "recording", or NOT RECORDED and why. Sent when it changes."""

    words: str


class GearReply(_Tagged, frozen=True, tag="gear"):
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


class ChecksReply(_Tagged, frozen=True, tag="checks"):
    checks: list[CheckKind]
    ref: int | None = None


class LearnSaid(_Tagged, frozen=True, tag="learn-said"):
    """How learning goes. "seen" wants a press to be kept, or another Learn to try again."""

    what: Literal["indicator", "travel", "leaf"]
    phase: Literal["asking", "seen", "kept", "failed"]
    words: str
    port: str = ""
    grows: str = ""
    value: float | None = None


class LiveSaid(_Tagged, frozen=True, tag="live-said"):
    """The live move as it stands; at most ten a second, when something changed. on False ends it.

    to_go: mm still to go in `way` at the place of the move, 0 at the aim. drawn: mm that tightening drew it back.
    """

    on: bool
    phase: Literal["lean", "go", "tighten", "end"]
    words: str
    enter: bool = False  # a press answers: lean seen, there, tight
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


class StatusReply(_Tagged, frozen=True, tag="status-reply"):
    program: str
    log: str
    recording: str  # "recording", or why not
    instruments: list[InstrumentState]
    run: RunState | None
    last: list[Finding]
    notes: list[str] = []
    ref: int | None = None


class Asking(_Tagged, frozen=True, tag="asking"):
    """What the check in progress wants; sent when it changes. `run` None: no check in progress."""

    run: str | None
    check: str | None = None
    jig: str | None = None
    ask: Ask | None = None
    joined: bool = False
    ref: int | None = None
    saw: str | None = None
    question: str = ""
    verifies: str | None = None


class SweepSaid(_Tagged, frozen=True, tag="sweep"):
    """A sweep began, was kept, refused or undone. Kept is said when it ended; saved follows its commit."""

    sweep: str
    placement: str
    state: Literal["running", "kept", "refused", "undone", "back"]
    push: bool | None = None
    taken: int = 0
    wanted: int = 0
    readings: int = 0
    slope: float | None = None
    length: float | None = None
    words: str = ""


class Points(_Tagged, frozen=True, tag="points"):
    """The line as it happens: newly paired travel and reading of the running sweep."""

    sweep: str
    travel: list[float]
    reading: list[float]


class MarkTaken(_Tagged, frozen=True, tag="mark"):
    placement: str
    at: float | None
    number: int
    of: int
    value: float
    words: str = ""


class Saved(_Tagged, frozen=True, tag="saved"):
    """It is on the disk: said after the commit, never before."""

    what: Literal["check", "sweep", "finding", "move", "event"]
    id: str


class Concluded(_Tagged, frozen=True, tag="finding"):
    run: str | None
    finding: Finding
    ref: int | None = None


class NotConcluded(_Tagged, frozen=True, tag="no-finding"):
    """The evidence could not carry a finding; the check goes on or was given up."""

    run: str
    words: str


class Notice(_Tagged, frozen=True, tag="notice"):
    """A whole sentence for the person; `about` names what it concerns."""

    about: str
    words: str


class RawBytes(_Tagged, frozen=True, tag="bytes"):
    instrument: str
    hex: str


class LogRows(_Tagged, frozen=True, tag="log-rows"):
    """Newest first. moves: by finding id what became of its move: "planned", "made", "verified"."""

    findings: list[Finding]
    moves: dict[str, str] = {}
    ref: int | None = None


class LogOne(_Tagged, frozen=True, tag="log-one"):
    """One finding with its evidence and what was done about it (both as plain JSON)."""

    finding: Finding
    evidence: msgspec.Raw
    moves: list[msgspec.Raw] = []
    ref: int | None = None


class LogText(_Tagged, frozen=True, tag="log-text"):
    """A piece of an export; `last` ends it."""

    text: str
    last: bool
    ref: int | None = None


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
    | Fitted
    | Recording
    | GearReply
    | ChecksReply
    | LearnSaid
    | LiveSaid
)

__all__ = ["Ask", "Finding", "Jig", "Move", "Option", "Quantity", "Saw", "Square"]  # for clients

_encoder = msgspec.json.Encoder()
_request = msgspec.json.Decoder(Request)
_said = msgspec.json.Decoder(Said)


class WireError(ValueError):
    """A line that is not a message: not UTF-8, not JSON, nested too deep, of no known type."""


def encode(message: msgspec.Struct) -> bytes:
    return _encoder.encode(message) + b"\n"


def decode_request(line: bytes) -> Request:
    request: Request = _decode(_request, line)
    return request


def decode_said(line: bytes) -> Said | None:
    """None for a message of a later protocol: a client skips what it does not know."""
    try:
        said: Said = _decode(_said, line)
        return said
    except WireError:
        try:
            kind = msgspec.json.decode(line)["type"]
        except Exception as error:
            raise WireError(f"not a message of the daemon: {line[:80]!r}") from error
        if isinstance(kind, str):
            return None
        raise


def _decode(decoder: msgspec.json.Decoder[_T], line: bytes) -> _T:
    try:
        return decoder.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise WireError(str(error)) from error
    except RecursionError as error:
        raise WireError("nested too deep") from error
