"""The finding that a check concludes with, in the shape that scripts rely on: one JSON
object, rad and mm.

Field names and order are a promise to other people's tools: add freely, change no
meaning.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Literal

import msgspec

# pushes more in a set-up that anybody would still take; common practice, no source
MOST_MORE_PUSHES = 30

Verdict = Literal["inside", "outside", "cannot-tell"]


class UnreadableRecord(msgspec.Struct, frozen=True):
    """Something in the log that can no longer be read: a result, the evidence behind
    one, a move.

    number: its place in the log; at: when it was recorded, ISO 8601, where that can be
    read.
    """

    what: Literal["result", "evidence", "move"]
    number: int
    at: str | None = None


class Quantity(msgspec.Struct, frozen=True):
    name: str
    value: float
    # "1/mm" is a curvature: rad of heading a mm of travel
    unit: Literal["rad", "mm", "1/mm"]
    uncertainty: float
    degrees_of_freedom: float | None = None
    tolerance: float | None = None
    verdict: Verdict | None = None
    way: str | None = None
    # mm: the length of what an angle is an angle of, over which a person is told it;
    # None: the user's own board
    over: float | None = None
    # least and most that is good, where too little is a fault as well as too much
    band: tuple[float, float] | None = None


class SweepRow(msgspec.Struct, frozen=True):
    """One sweep as it was read: slope is dr/ds before mount and side; no type B rows in
    its uncertainty."""

    placement: str
    push: bool
    readings: int
    set_aside: int
    slope: float
    standard_uncertainty: float


class BudgetRow(msgspec.Struct, frozen=True):
    part: str
    type: Literal["A", "B"]
    standard_uncertainty: float
    degrees_of_freedom: float | None
    share: float  # of the variance


class Move(msgspec.Struct, frozen=True):
    end: Literal["left", "right"]
    way: Literal["away", "toward"]
    distance: float  # mm, positive
    uncertainty: float  # mm, expanded
    leaves: list[float]
    leaves_left_over: float  # distance minus leaves
    # whole sentences, made from `steps` in `bench.render.remarks`
    text: str = ""
    fence: Literal["left", "right"] | None = None  # which of a mitre sled's two
    steps: list[Remark] = []  # what the hands do, in their order


class Settle(msgspec.Struct, frozen=True):
    """The change that would settle a verdict that cannot be told yet."""

    part: str
    sweeps: int | None = None  # the total of pushes
    length: float | None = None
    resolution: float | None = None
    checks: int | None = None  # whole ones in the log, before the next


class Contact(msgspec.Struct, frozen=True, rename={"from_": "from"}):
    from_: float
    to: float
    pushed_at: float
    rotation: float
    uncertainty: float


class Position(msgspec.Struct, frozen=True):
    at: float
    yaw_play: float | None
    side_play: float | None
    relief: float


class Comparison(msgspec.Struct, frozen=True):
    """A result beside another one of the same rotation.

    at: when the other was found, ISO 8601, None where it was only named. value,
    uncertainty: its own, rad, expanded. e_n: |difference| / sqrt(U1^2 + U2^2), ISO
    13528:2022, 9.7; None where both claim to be exact and differ. agrees: it is not
    above 1.
    """

    at: str | None
    value: float
    uncertainty: float
    e_n: float | None
    agrees: bool


RemarkValue = bool | int | float | str | Sequence[int | float | str]
Severity = Literal["doubt", "warning", "act", "refused", "note"]


class Remark(msgspec.Struct, frozen=True):
    """Something a finding says beside its figures; its sentence is made in
    `bench.render.remarks`.

    placement, sweep: the set-up and the pass it is about, None where it is about all.
    values: plain numbers in mm, rad, s or pieces, names, and yes or no. severity:
    `doubt` forbids verdict and move, `warning` may make the answer wrong, `act` says
    what to do at the bench, `refused` says why a pass is not used, `note` explains.
    """

    code: str
    placement: str | None = None
    sweep: str | None = None
    values: Mapping[str, RemarkValue] = {}
    severity: Severity = "note"


class Doubt(Remark, frozen=True):
    """A contradiction within the evidence: it forbids verdict and move."""

    severity: Severity = "doubt"


def _maker(severity: Severity) -> Callable[..., Remark]:
    """A function that makes a remark of that severity from its code, placement, sweep
    and values."""

    def make(
        code: str,
        placement: str | None = None,
        sweep: str | None = None,
        **values: RemarkValue,
    ) -> Remark:
        return Remark(code, placement, sweep, values, severity)

    return make


note, warning = _maker("note"), _maker("warning")
act, refusal = _maker("act"), _maker("refused")


def doubt(
    code: str,
    placement: str | None = None,
    sweep: str | None = None,
    **values: RemarkValue,
) -> Doubt:
    return Doubt(code, placement, sweep, values)


class EvidenceError(ValueError):
    """The evidence cannot carry a finding (no push, a placement missing, travel that
    does not move).

    because: why the last pass was refused, where that is the reason.
    """

    def __init__(self, problem: str, because: Remark | None = None) -> None:
        super().__init__(problem)
        self.because = because


class Climate(msgspec.Struct, frozen=True):
    """The shop's air at a result: degrees Celsius, and relative humidity as a fraction;
    None for what nobody measured."""

    temperature: float | None = None
    humidity: float | None = None


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    version: int = 1
    id: str = ""
    check: str
    jig: str | None = None
    saw: str | None = None
    at: str = ""  # ISO 8601 with its offset
    quantities: list[Quantity]
    verdict: Verdict | None = None
    confidence: float = 0.95
    settle: Settle | None = None
    sweeps: list[SweepRow] = []
    budget: list[BudgetRow] = []
    move: Move | None = None
    comparison: Comparison | None = None  # with what else was found of it
    single_sweep: bool = False
    profile: list[tuple[float, float]] | None = None
    contact: list[Contact] | None = None
    positions: list[Position] | None = None
    notes: list[str] = []  # doubts and remarks as sentences, made in `bench.render`
    doubts: list[Doubt] = []  # with any of them no verdict and no move is made
    remarks: list[Remark] = []
    climate: Climate | None = None

    @property
    def codes(self) -> set[str]:
        """The codes of its doubts and remarks."""
        return {remark.code for remark in (*self.doubts, *self.remarks)}

    @property
    def proposed(self) -> Move | None:
        """The move to put before a person. Too close to call proposes none, though
        `move` keeps what it would be."""
        return None if self.verdict == "cannot-tell" else self.move

    @property
    def more_pushes(self) -> int | None:
        """Pushes more in each set-up that may settle what is too close to call; None
        where pushes do not, or where they are more than anybody would push."""
        if (
            self.verdict != "cannot-tell"
            or self.settle is None
            or self.settle.sweeps is None
        ):
            return None
        pushes = [
            row.placement
            for row in self.sweeps
            if row.push and row.standard_uncertainty > 0
        ]
        if not pushes:
            return None
        more = math.ceil((self.settle.sweeps - len(pushes)) / len(set(pushes)))
        return more if 1 <= more <= MOST_MORE_PUSHES else None
