"""A check as data: its options, its steps, its evidence and the road from evidence to
finding.

Guide, command line, log and operator are driven by what a check declares here; none
knows a check by name. Numpy is imported only when something is worked out. Lengths in
mm, angles in rad, times in s.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import msgspec

from bench.checks.options import Option, OptionValue, OptionValues
from bench.finding import Finding, Move, Quantity, Remark
from bench.gear import Caliper, Indicator, Jig, LeftRight, Saw, Square, Travel
from bench.uncertainty.sweeps import Pool
from bench.uncertainty.variance_components import SetUpScatter

Gather = Literal["sweep", "spot", "width"]
Mount = Literal["standing", "carried", "still"]
TravelDirection = Literal["away", "right"]
# what one check leaves to another
SharedResult = Literal["fence", "square", "yaw-play"]
AWAY = 0.3  # mm that a lifted plunger or an opened caliper moves by; common practice


class Caution(msgspec.Struct, frozen=True):
    """Shown before a check and acknowledged by one key; `about` says when it must be
    asked again."""

    name: str
    words: str
    # "day": once a day on a saw. "blade", "power": also when the check before wanted
    # the blade or the power otherwise. "cut": before every check that cuts.
    about: Literal["day", "blade", "power", "cut"] = "day"


class Focus(msgspec.Struct, frozen=True):
    """The one thing in which a set-up differs from the one before it.

    turn: of the blade, rad. place: along what is measured, mm. lean, twist: to which
    side. end: of the blade or the fence.
    """

    what: Literal["turn", "place", "lean", "twist", "end"]
    value: float = 0.0
    side: Literal["left", "right", "front", "rear"] | None = None


class Step(msgspec.Struct, frozen=True):
    """One set-up (`placement`) and what is gathered there, `repeat` times.

    side and mount turn readings into rotation; `at` is the place in mm of a spot or a
    width that has one.
    """

    placement: str
    words: str
    gather: Gather
    repeat: int = 3
    side: LeftRight | None = None
    mount: Mount | None = None
    at: float | None = None
    picture: str | None = None
    reseat: str | None = None  # what to do again before each repeat
    # what is swept is a line; a pass that no line fits is refused while it is at hand
    straight: bool = True
    # what is pushed along, and so whether there is a sled to lean
    pushed: Literal["sled", "indicator"] = "sled"
    runs: TravelDirection = "away"  # which way the travel grows, seen by whoever pushes
    # mm that the number of a spot or a width moves away between two readings, so that
    # the next one is known when it comes back and holds; None: each one is asked for
    away: float | None = AWAY
    # the set-up before it stands, and only `focus` is another
    continues: bool = False
    focus: Focus | None = None

    @property
    def leans(self) -> bool:
        """Whether a lean test proves on which side the indicator stands."""
        return (
            self.gather == "sweep" and self.pushed == "sled" and self.side is not None
        )


class Trace(msgspec.Struct, frozen=True):
    """Paired travel and reading of one sweep in the order they came; a spot or a width
    is a short one.

    travel: mm, growing away from the operator. reading: mm, growing as the plunger is
    pushed in. push: travel grows. seat: which seating, None where every sweep is
    freshly seated. at: s, arrival.
    """

    placement: str
    travel: list[float]
    reading: list[float]
    push: bool = True
    sweep: str = ""
    seat: str | None = None
    hold: str | None = None
    at: list[float] | None = None


class SquareHistory(msgspec.Struct, frozen=True):
    """count: so many findings that the error is the mean of. whole: the date of the
    last whole check of this sled, where a quick one takes over what that proved."""

    error: float  # e, rad
    standard_uncertainty: float
    degrees_of_freedom: float | None = None
    count: int = 1
    whole: str | None = None


class SweepHistory(msgspec.Struct, frozen=True):
    """The result of the latest sweeps of the same sled on the same saw, with no move
    since."""

    fence: float  # rad
    expanded: float
    at: str = ""


class PriorKnowledge(msgspec.Struct, frozen=True):
    """The knowledge from earlier findings; empty for `evaluate` without the log."""

    pool: Pool | None = None
    seat_scatter: float | None = None  # rad, standard deviation
    # scatter between the sled fence's own passes, for a check that cuts on that sled
    passes: Pool | None = None
    yaw_play: float | None = None  # rad, full swing
    square: SquareHistory | None = None
    sweep: SweepHistory | None = None  # for the test board, to agree with
    single_sweep_scatter: float | None = None  # rad
    set_ups: SetUpScatter | None = None
    looks: int = 0  # how often this check has been extended: later looks use 99 %


class EvidenceGear(msgspec.Struct, frozen=True):
    """The part of the user's gear that this check used; a hashed copy is kept in the
    log."""

    indicator: Indicator = Indicator()
    travel: Travel = Travel()
    caliper: Caliper = Caliper()
    saw: Saw | None = None
    jig: Jig | None = None
    square: Square | None = None
    leaves: tuple[float, ...] = ()

    @property
    def far(self) -> bool:
        """Whether the sled's fence stands beyond the board."""
        return self.jig is not None and self.jig.fence == "far"

    @property
    def tolerance(self) -> float | None:
        """rad, of the sled fence."""
        return self.jig.tolerance if self.jig is not None else None


class LeanTest(msgspec.Struct, frozen=True):
    """Readings while the sled was leaned left and right in one placement, mm."""

    placement: str
    left: float
    right: float


class TapTest(msgspec.Struct, frozen=True):
    """Readings at rest before and after the stand was tapped, mm; came_back: whether
    that is near enough."""

    placement: str
    before: float
    after: float
    came_back: bool = True


class Evidence(msgspec.Struct, frozen=True):
    """All that a finding is worked out from; kept beside it so that it can be worked
    out again."""

    check: str
    traces: list[Trace] = []
    options: dict[str, OptionValue] = {}
    gear: EvidenceGear = EvidenceGear()
    known: PriorKnowledge = PriorKnowledge()
    leans: list[LeanTest] = []
    taps: list[TapTest] = []  # in order, those that did not come back too
    # set-ups in which the number was seen to move by more than flicker; None: nobody
    # looked (recorded files)
    alive: list[str] | None = None
    # mm, different readings that the indicator itself showed, a few hundred at most
    shown: list[float] = []

    def at(self, placement: str) -> list[Trace]:
        """The traces of one set-up, in the order they came."""
        return [trace for trace in self.traces if trace.placement == placement]

    @property
    def placements(self) -> list[str]:
        """The set-ups that were taken, in the order they came."""
        return list(dict.fromkeys(trace.placement for trace in self.traces))


class Check(msgspec.Struct, frozen=True):
    """One question asked of the saw or a jig.

    plan(options, gear) -> steps in order. evaluate(evidence) -> finding with
    quantities, verdicts, sweeps, budget, settle, remarks, but without id, time and
    move, which `bench.procedure.conclusion` adds. needs: which gear it must have
    ("jig", "saw"). columns: of its recorded file. main: the quantity that drift charts
    follow.
    """

    kind: str
    question: str
    plan: Callable[[OptionValues, EvidenceGear], tuple[Step, ...]]
    evaluate: Callable[[Evidence], Finding]
    quantities: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    options: tuple[Option, ...] = ()
    needs: tuple[str, ...] = ()
    columns: tuple[str, ...] = ("sweep", "placement", "travel", "reading")
    # a step for a placement name of a recorded file that plan() does not list (turn-90,
    # turn-137, ...)
    accepts: Callable[[str, OptionValues, EvidenceGear], Step | None] | None = None
    # where it stands in a list of checks, the lowest first
    rank: int = 100
    # what later checks take from its findings, and what of that it takes itself
    measures: tuple[SharedResult, ...] = ()
    takes: tuple[SharedResult, ...] = ()
    # whether its first quantity is the sled fence's rotation, which a move at the fence
    # turns back
    turns_fence: bool = False
    # the part of the saw whose rotation it judges, which is turned back at the saw
    turns_saw: Literal["blade", "rip fence"] | None = None
    # from a finding whose move was made to the options of a lighter check that
    # verifies the move, None where that finding does not allow it
    lighter: Callable[[Finding], OptionValues | None] | None = None
    # the move of a check whose first quantity is not one fence's rotation, and what is
    # to be said of it, from quantities, sled and leaves; asked only where one is due
    moves: (
        Callable[
            [Sequence[Quantity], Jig, Sequence[float]], tuple[Move | None, list[Remark]]
        ]
        | None
    ) = None
    # whether its last set-up may end one pass short where that settles the verdict
    stops_early: bool = False
    # what is to be taken after the move, behind "Then "
    verified_by: str = "take the verifying passes"

    def steps_at(
        self, placements: Sequence[str], options: OptionValues, gear: EvidenceGear
    ) -> dict[str, Step]:
        """The first set-up of each placement, planned or of a recorded file; without
        those that are none of this check's."""
        plan = {step.placement: step for step in reversed(self.plan(options, gear))}
        steps = {name: plan.get(name) for name in placements}
        if self.accepts is not None:
            for name in set(steps) - set(plan):
                steps[name] = self.accepts(name, options, gear)
        return {name: step for name, step in steps.items() if step is not None}
