"""The messages from the daemon while instruments are set up and a move is made live.

Lengths in mm, times in s.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.finding import Verdict
from bench.procedure.status_message import StatusMessage
from bench.protocol.base import Notification, Tagged


class SetupNotice(Notification, frozen=True, tag="learn-said"):
    """How learning goes. "seen" wants a press to be kept, or another Learn to try
    again; "failed" ends it.

    enter: a press answers (keep it, it rests, the leaf is in). on False: nothing is
    learned any more.
    """

    what: Literal["indicator", "travel", "leaf"]
    phase: Literal["asking", "seen", "kept", "failed"]
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


class Cables(Tagged, frozen=True, tag="cables"):
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
    phase: Literal["stand", "lean", "go", "tighten", "end"]
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
