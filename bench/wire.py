"""The messages between the daemon and its clients: one JSON object a line over a Unix socket.

The daemon speaks first (`version`). A request may carry `ref`, which its answer repeats. A bad request is
answered by `error`; a message of a type that is not known is skipped by a client and answered by an error
from the daemon. Lengths in mm, angles in rad, times in s of the daemon's monotonic clock unless named.
May import: bench.asking, bench.finding, msgspec.
"""

from __future__ import annotations

from typing import Literal, TypeVar

import msgspec

from bench.asking import Ask
from bench.finding import Finding

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


Request = GetStatus | Watch | Begin | Press | Undo | Abandon | Moved | Capture | LogList | LogShow | LogExport


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


class RunState(msgspec.Struct, frozen=True):
    id: str
    check: str
    jig: str | None
    saw: str | None
    ask: Ask


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
    findings: list[Finding]
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
)

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
