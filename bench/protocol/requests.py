"""The requests of clients to the daemon.

Lengths in mm, angles in rad, times in s.
"""

from __future__ import annotations

from typing import Any, Literal

from bench.finding import Climate
from bench.gear import Jig, Saw, Square
from bench.protocol.base import LogQuery, Query, Request
from bench.protocol.notifications import SetupSubject


class GetStatus(Query, frozen=True, tag="status"):
    """Answered by a `StatusReply`."""


class Watch(Query, frozen=True, tag="watch"):
    """Live readings from now on, or no longer; `most` messages a second per instrument
    at the most."""

    on: bool = True
    most: float | None = None


class Begin(Request, frozen=True, tag="begin"):
    """Begin a check; the same check already in progress is joined where it stands."""

    check: str
    jig: str | None = None
    saw: str | None = None
    square: str | None = None
    sweeps: int | None = None  # pushes a set-up; None: as many as the check asks for
    lean: bool = False
    # tap the stand before the first push of every set-up: the number must come back
    tap: bool = False
    beat: float | None = None  # s between the beats that ask for marks; None: no beat
    # by the names that the check declares; validated where it begins
    options: dict[str, Any] = {}
    verifies: str | None = None  # finding that a move was made on
    # the shop's air as it was typed in; by its sensors where None
    climate: Climate | None = None


class Press(Request, frozen=True, tag="press"):
    """Enter, or the pedal: acknowledge, placed, take the mark. `waits`: keep it if
    nothing asks for it yet."""

    waits: bool = True


class Undo(Request, frozen=True, tag="undo"):
    """Take back the last kept pass of the check in progress."""


class Abandon(Request, frozen=True, tag="abandon"):
    """End the check in progress without a finding; its passes stay in the log."""


class NoteMove(Request, frozen=True, tag="moved"):
    """Note that the move of a finding was made; distance as far as the user knows
    it."""

    finding: str | None = None  # the latest with a move where None
    jig: str | None = None
    distance: float | None = None
    how: str = ""


class NoteEvent(Request, frozen=True, tag="note-event"):
    """Note an event of a sled, its saw or its square: its charts begin anew from there,
    and an alarm is answered. at: ISO 8601 date or time; now where None."""

    jig: str
    what: Literal["dropped", "moved", "runners", "blade", "saw", "square", "accepted"]
    note: str = ""
    at: str | None = None


class Capture(Query, frozen=True, tag="capture"):
    """Raw bytes of one instrument from now on, as `bytes` messages."""

    instrument: str | None = None
    on: bool = True


class Extend(Request, frozen=True, tag="extend"):
    """Go on with a check that is too close to call: so many pushes more in every set-
    up."""

    sweeps: int = 3
    finding: str | None = None  # the latest where None


class NotesSeen(Query, frozen=True, tag="notes-seen"):
    """Somebody at a screen has seen the first `count` notes of the daemon's start; they
    need not be said again."""

    count: int


class GetGear(Query, frozen=True, tag="get-gear"):
    """Answered by a `GearReply`."""


class GetChecks(Query, frozen=True, tag="get-checks"):
    """Answered by a `ChecksReply`."""


class PutJig(Request, frozen=True, tag="put-jig"):
    """Keep a sled in gear.toml beside the log; one of that name already there is
    replaced."""

    jig: Jig


class PutSaw(Request, frozen=True, tag="put-saw"):
    saw: Saw


class PutSquare(Request, frozen=True, tag="put-square"):
    square: Square


class PutLeaves(Request, frozen=True, tag="put-leaves"):
    leaves: list[float]


class PutUnits(Request, frozen=True, tag="put-units"):
    """Set the units that people see from now on; kept in the settings file."""

    units: Literal["mm", "inch"]


class PutSound(Request, frozen=True, tag="put-sound"):
    """Set whether tones are sent and the buzzer sounds; kept in the settings file."""

    on: bool


class Learn(Request, frozen=True, tag="learn"):
    """First start: find the port that moves when the plunger is pressed or the sled
    pushed, and its direction.

    "leaf": slip a leaf of `leaf` mm under the tip: proves unit and sign. on False ends
    it.
    """

    what: SetupSubject
    on: bool = True
    leaf: float | None = None


class LiveMoveRequest(Request, frozen=True, tag="live"):
    """Make the move with the remaining distance live. The indicator stands on the jig,
    reading the fence.

    touches: the fence's face, or the arm of a square on it. stands: for the fence,
    beyond its face looking back at you or behind it; for the arm, on its left or right.
    from_pivot: mm along the fence from the pivot to the tip (the stop where None); for
    the arm, mm along it from the pivot's line.
    """

    on: bool = True
    finding: str | None = None  # the latest with a move where None
    touches: Literal["fence", "arm"] = "fence"
    stands: Literal["beyond", "behind", "left", "right"] = "beyond"
    from_pivot: float | None = None


class LogList(LogQuery, frozen=True, tag="log-list"):
    """Ask for the latest results, so many; before: of those that are older than this
    result."""

    jig: str | None = None
    check: str | None = None
    most: int = 50
    before: str | None = None


class LogShow(LogQuery, frozen=True, tag="log-show"):
    id: str


class LogExport(Query, frozen=True, tag="log-export"):
    id: str | None = None


IMPORT_PIECE = 45_000  # bytes, the most that one message of an import carries


class LogImport(Query, frozen=True, tag="log-import"):
    """A piece of an export, of at most IMPORT_PIECE bytes, in the order of the file;
    the next is sent when this is answered. `last` ends it."""

    piece: bytes = b""
    last: bool = False


class LogEvents(LogQuery, frozen=True, tag="log-events"):
    """Ask for the events of the instruments and of the log itself, the latest so
    many."""

    most: int = 50


class Drift(LogQuery, frozen=True, tag="drift"):
    """Ask how results have changed without a move; answered by a `Document`."""

    jig: str | None = None
    check: str | None = None


class Due(LogQuery, frozen=True, tag="due"):
    """Ask what should be checked again, when and why; answered by a `Document`. at: ISO
    date; today where None. remind: have the lamp say whether anything is due now."""

    at: str | None = None
    remind: bool = False


class CutForecast(LogQuery, frozen=True, tag="cut-forecast"):
    """Ask how the parts of a sled come out; without a name, of the only sled, or of all
    sleds shortly. options: what is cut, by the names of `bench.cut.conditions`."""

    jig: str | None = None
    options: dict[str, Any] = {}


class ShopForecast(LogQuery, frozen=True, tag="shop-forecast"):
    """Ask for all sleds of the shop: state, worst part, next date."""


class ReportParts(LogQuery, frozen=True, tag="report-parts"):
    """Ask for what a report shows beside its results; answered by a `Document` of
    `drift`, `due`, `cuts` by sled, and `gear` by sled or saw."""
