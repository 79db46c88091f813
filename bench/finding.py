"""What a check concludes, in the shape that scripts rely on: one JSON object, rad and mm.

Field names and order are a promise to other people's tools: add freely, change no meaning.
May import: msgspec only. `uncertainty` is expanded to `confidence`; infinite degrees of freedom are null.
"""

from __future__ import annotations

from typing import Literal

import msgspec

Verdict = Literal["inside", "outside", "cannot-tell"]


class Quantity(msgspec.Struct, frozen=True):
    name: str
    value: float
    unit: Literal["rad", "mm"]
    uncertainty: float
    degrees_of_freedom: float | None
    tolerance: float | None = None
    verdict: Verdict | None = None
    way: str | None = None


class SweepRow(msgspec.Struct, frozen=True):
    """One sweep as it was read: slope is dr/ds before mount and side; no type B rows in its uncertainty."""

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
    text: str


class Settle(msgspec.Struct, frozen=True):
    """What would settle a verdict that cannot be told yet."""

    part: str
    sweeps: int | None = None  # the total of pushes
    length: float | None = None
    resolution: float | None = None


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


class Doubt(msgspec.Struct, frozen=True):
    """What the check shows against its own answer; its words are made in `bench.checks.doubt_words`.

    placement, sweep: the set-up and the pass it is about, None where it is about all.
    values: mm, rad and counts, by name.
    """

    code: str
    placement: str | None = None
    sweep: str | None = None
    values: dict[str, float] = {}


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
    single_sweep: bool = False
    profile: list[tuple[float, float]] | None = None
    contact: list[Contact] | None = None
    positions: list[Position] | None = None
    notes: list[str] = []
    doubts: list[Doubt] = []  # with any of them no verdict and no move is made
