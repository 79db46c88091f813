"""How far do the runners let the sled shift and yaw? It is leaned and twisted within
its play, at a stop.

Leaned bodily near the runners' middle the difference is the side play; twisted about
it, the difference at a distance v over |v| is the yaw play. Play is the scatter of cut
angles that no move of the fence removes. Lengths in mm, angles in rad.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import SIDE, OptionValues, given_number, length, number
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.plausibility import spot_doubts
from bench.checks.shared.results import budget_of, finding, instrument_rows, quantity
from bench.checks.shared.traces import columns_by_placement, count_of, spread_of
from bench.finding import EvidenceError, Finding, Quantity, Remark, act, note, warning
from bench.gear import OTHER_SIDE, LeftRight
from bench.uncertainty.budget import Budget, Part
from bench.uncertainty.verdicts import verdict_between

if TYPE_CHECKING:
    from bench.geometry.play import Play

# mm of clearance, both sides together, in wood: less binds, more is loose; common
# practice, no source
BINDS, LOOSE = 0.03, 0.15
# mm, where the runners' length is not said; common practice, no source
USUAL_RUNNER = 450.0
READINGS_EACH = 5  # readings a set-up
# mm that the sled moves between two leans; less than any play worth knowing
LEAST_AWAY = 0.015
FEWEST_REPEATS = 2  # readings one way that show how well it comes back
# share of the play that one way of looking misses before it is remarked on
UNACCOUNTED = 0.5
TWIST_AT = 250.0  # mm from the runners' middle, live, unless said
# mm, half-width: a spot's place from the runners' middle, by eye; common practice, no
# source
PLACE_ERROR = 15.0
SET_UPS = {
    "leaned-left": "Indicator standing on the right of the sled, at the runners'"
    " middle. Its tip touches the sled's side. Press the whole sled to the LEFT and"
    " hold it there.",
    "leaned-right": "Leave the indicator. Press the whole sled to the RIGHT and hold it"
    " there.",
    "twisted-left": "Pencil a mark {at:station} from the runners' middle, away from"
    " you. Indicator standing on the right, its tip at the mark. Twist the sled to the"
    " LEFT there and hold it.",
    "twisted-right": "Leave the indicator. Twist the sled to the RIGHT there and hold"
    " it.",
}
LEANED, TWISTED = ("leaned-left", "leaned-right"), ("twisted-left", "twisted-right")
Spots = Mapping[str, list[float]]  # by set-up, mm


def runner_length(options: OptionValues, gear: EvidenceGear) -> float | None:
    """mm: as given for this check, else as the sled's description has it."""
    given = given_number(options, "runner_length")
    return gear.jig.runner_length if given is None and gear.jig is not None else given


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    # half a runner's length off the middle the swing is the whole yaw play
    runner = runner_length(options, gear) or 0.0
    at = number(options, "twist_at", max(TWIST_AT, runner / 2))
    return tuple(_step(name, at) for name in SET_UPS)


def _step(placement: str, twist_at: float) -> Step:
    how, _, way = placement.partition("-")
    side: LeftRight = "left" if way == "left" else "right"
    leaned, other = how == "leaned", OTHER_SIDE[side]
    again = "Press" if leaned else "Twist"
    return Step(
        placement,
        SET_UPS[placement],
        "spot",
        READINGS_EACH,
        "right",
        "standing",
        at=0.0 if leaned else twist_at,
        picture="side-play",
        reseat=f"{again} it to the {other}, then to the {way.upper()} again; hold.",
        away=LEAST_AWAY,
        focus=Focus("lean" if leaned else "twist", side=side),
    )


def evaluate(evidence: Evidence) -> Finding:
    spots, places = _spots(evidence)
    # leaned and twisted are read at two places, each with a stand of its own
    pairs = (LEANED, TWISTED)
    doubts = [d for pair in pairs for d in spot_doubts({n: spots[n] for n in pair})]
    remarks = [lack for pair in pairs for lack in _pair_remarks(spots, *pair)]
    answers = []
    if all(spots[name] for name in LEANED):
        answers.append(_side_play(evidence, spots, remarks))
    if all(spots[name] for name in TWISTED):
        answers.append(_yaw_play(evidence, spots, places, remarks))
    if not answers:
        raise EvidenceError(
            "it takes leaned-left with leaned-right, or twisted-left with twisted-right"
        )
    quantities = [shown for shown, _ in answers]
    remarks += _runner_remarks(evidence, quantities, places)
    return finding(evidence, quantities, answers[0][1], remarks=remarks, doubts=doubts)


def _pair_remarks(spots: Spots, one: str, other: str) -> list[Remark]:
    return [
        warning("pair-lacking", lacking=lacking, there=there)
        for there, lacking in ((one, other), (other, one))
        if spots[there] and not spots[lacking]
    ]


def _spots(evidence: Evidence) -> tuple[Spots, Spots]:
    """Displacements to the right and places along Y."""
    turn = -1.0 if evidence.options.get("side") == "left" else 1.0
    read = columns_by_placement(evidence.traces)
    there = {name: read.get(name, ([], [])) for name in SET_UPS}
    places = {name: travel for name, (travel, _) in there.items()}
    return {name: [turn * r for r in rs] for name, (_, rs) in there.items()}, places


def _budget(
    evidence: Evidence,
    play: Play,
    per: float,
    more: Sequence[Part],
    remarks: list[Remark],
) -> Budget:
    """per: mm of displacement for one unit of the play; more: its own rows."""
    u, dof, scatter = play.standard_uncertainty, play.degrees_of_freedom, None
    if u is None:
        name = "side-play" if per == 1.0 else "yaw-play"
        remarks.append(warning("read-once", quantity=name))
    else:
        freedom = dof if math.isfinite(dof) and dof > 0 else None
        scatter = Part("scatter of the leans", "A", u, freedom)
    readings = [r for trace in evidence.traces for r in trace.reading]
    count = count_of(evidence.gear.indicator, readings)
    own = instrument_rows(evidence, abs(play.value) * per, per, count, 0.0)
    return budget_of(evidence, [scatter, *own, *more])


def _limits(options: OptionValues) -> tuple[float, float]:
    """The least and the most side play that is good, mm: common practice where neither
    is given."""
    least, most = (given_number(options, f"play_{of}") for of in ("least", "most"))
    if least is most is None:
        return BINDS, LOOSE
    return least or 0.0, math.inf if most is None else most


def _side_play(
    evidence: Evidence, spots: Spots, remarks: list[Remark]
) -> tuple[Quantity, Budget]:
    """The side play, judged by what was said to be good enough, else by common
    practice."""
    from bench.geometry.play import side_play

    left, right = (spots[name] for name in LEANED)
    leaned = side_play(left, right)
    budget = _budget(evidence, leaned, 1.0, [], remarks)
    side, play = quantity("side-play", leaned.value, budget, unit="mm"), leaned.value
    least, most = _limits(evidence.options)
    verdict = verdict_between(play, side.uncertainty, least, most)
    side = msgspec.structs.replace(side, verdict=verdict)
    if math.isfinite(most):
        side = msgspec.structs.replace(side, tolerance=most, band=(least, most))
    if play < 0:
        remarks.append(warning("leaned-wrong"))
        return side, budget
    remarks.append(_hold_remark(left, right, play))
    if play < least:
        remarks.append(act("play-little", limit=least))
    elif play > most:
        remarks.append(act("play-much", limit=most))
    elif math.isfinite(most):
        remarks.append(act("play-good", binds=least, loose=most))
    return side, budget


def _yaw_play(
    evidence: Evidence, spots: Spots, places: Spots, remarks: list[Remark]
) -> tuple[Quantity, Budget]:
    from bench.geometry.play import yaw_play

    left, right = (spots[name] for name in TWISTED)
    place = statistics.fmean([at for name in TWISTED for at in places[name]])
    if abs(place) < 1.0:
        raise EvidenceError(
            "twisted at the runners' middle nothing is seen: read some way off it"
            " (travel)"
        )
    said = runner_length(evidence.options, evidence.gear)
    runner = USUAL_RUNNER if said is None else said
    off = given_number(evidence.options, "place_error")
    error = (PLACE_ERROR if off is None else off) / math.sqrt(3)
    twisted = yaw_play(left, right, place, runner, error)
    rows = [Part("place of the spots", "B", twisted.place_uncertainty)]
    if twisted.lever_uncertainty > 0:
        rows.append(Part("lever of the twist", "B", twisted.lever_uncertainty))
        if said is None:
            remarks.append(note("runner-usual", at=abs(place), runner=runner))
    if off is None and twisted.place_uncertainty > (twisted.standard_uncertainty or 0):
        remarks.append(note("place-usual", off=PLACE_ERROR))
    budget = _budget(evidence, twisted, twisted.lever, rows, remarks)
    if statistics.fmean(right) < statistics.fmean(left):
        remarks.append(warning("twisted-wrong"))
    remarks.append(note("cuts-scatter", yaw=abs(twisted.value)))
    return quantity("yaw-play", twisted.value, budget, over=runner), budget


def _hold_remark(left: list[float], right: list[float], play: float) -> Remark:
    """Free, leaned left, leaned right: how far the sled may stand off, and how well
    either wall brings it back."""
    if min(len(left), len(right)) < FEWEST_REPEATS:
        return note("shift-free", play=play)
    back = {"left": spread_of(left), "right": spread_of(right)}
    return note("shift-free-and-leaned", play=play, **back)


def _runner_remarks(
    evidence: Evidence, quantities: Sequence[Quantity], places: Spots
) -> list[Remark]:
    """A runner of length Lr with clearance c shifts by c and yaws by 2 c / Lr: each
    foretells the other."""
    runner = runner_length(evidence.options, evidence.gear)
    if runner is None:
        return []
    remarks = []
    twisted = [abs(at) for name in TWISTED for at in places[name]]
    if twisted and (at := statistics.fmean(twisted)) < 0.98 * runner / 2:
        remarks.append(warning("twisted-near", at=at, better=runner / 2))
    if len(quantities) == 2:
        leaned, foretold = abs(quantities[0].value), quantities[1].value * runner / 2
        low, high = sorted((leaned, foretold))
        if low < UNACCOUNTED * high:
            remarks.append(warning("plays-differ", leaned=leaned, twisted=foretold))
    return remarks


CHECK = Check(
    kind="side-play",
    question="How far do the runners let the sled shift and twist?",
    plan=plan,
    evaluate=evaluate,
    quantities=("side-play", "yaw-play"),
    cautions=AT_REST,
    options=(
        length(
            "twist_at",
            "How far from the runners' middle the twist is read",
            (1.0, 5000.0),
        ),
        length("runner_length", "Length of the runners", (10.0, 5000.0), of_sled=True),
        length(
            "place_error",
            f"How far the twist's place may be off ({PLACE_ERROR:g} mm unless said)",
            (0.0, 200.0),
        ),
        length("play_least", "The least side play that is good enough", (0.0, 5.0)),
        length("play_most", "The most side play that is good enough", (0.001, 5.0)),
        SIDE,
    ),
    needs=("jig",),
    rank=7,
    measures=("yaw-play",),
)
