"""How far do the runners let the sled shift and yaw? It is leaned and twisted within
its play, at a stop.

Leaned bodily near the runners' middle the difference is the side play; twisted about
it, the difference at a distance v over |v| is the yaw play. Play is the scatter of cut
angles that no move of the fence removes.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping

from bench.checks.model import (
    Check,
    Evidence,
    EvidenceError,
    EvidenceGear,
    Focus,
    Step,
)
from bench.checks.options import SIDE, Option, OptionValue, given_number, number
from bench.checks.shared.cautions import (
    BLADE_DOWN,
    COUNT_OFF,
    MANUAL,
    STILL_TEETH,
    UNPLUG,
)
from bench.checks.shared.counts import count_of
from bench.checks.shared.slips import uneven_spots
from bench.finding import BudgetRow, Finding, Quantity, Remark
from bench.gear import LeftRight

TIMES = 5
FEWEST = 2  # readings one way that show how well it comes back
# mm that the sled moves between two leans; less than any play worth knowing
LEAST_AWAY = 0.015
# share of the play that one way of looking misses before it is remarked on
UNACCOUNTED = 0.5
TWIST_AT = 200.0  # mm from the runners' middle, live, unless said
# mm, both sides together, in wood; common practice, no source
BINDS, LOOSE = 0.03, 0.15
PLACES = ("leaned-left", "leaned-right", "twisted-left", "twisted-right")


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del gear
    at = number(options, "twist_at", TWIST_AT)

    def step(placement: str, words: str, again: str, place: float) -> Step:
        lean = placement.startswith("leaned")
        side: LeftRight = "left" if placement.endswith("left") else "right"
        return Step(
            placement,
            words,
            "spot",
            TIMES,
            "right",
            "standing",
            place,
            "side-play",
            reseat=again,
            away=LEAST_AWAY,
            focus=Focus("lean" if lean else "twist", side=side),
        )

    stand = "Indicator standing on the right of the sled"
    return (
        step(
            "leaned-left",
            f"{stand}, at the runners' middle. Its tip touches the sled's side. Press"
            " the whole sled to the LEFT and hold it there.",
            "Press it to the right, then to the LEFT again; hold.",
            0.0,
        ),
        step(
            "leaned-right",
            "Leave the indicator. Press the whole sled to the RIGHT and hold it there.",
            "Press it to the left, then to the RIGHT again; hold.",
            0.0,
        ),
        step(
            "twisted-left",
            "Indicator standing on the right, {at:station} beyond the runners' middle."
            " Twist the sled to the LEFT there and hold it.",
            "Twist it to the right, then to the LEFT again; hold.",
            at,
        ),
        step(
            "twisted-right",
            "Leave the indicator. Twist the sled to the RIGHT there and hold it.",
            "Twist it to the left, then to the RIGHT again; hold.",
            at,
        ),
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.play import side_play, yaw_play
    from bench.geometry.reversal import GeometryError
    from bench.uncertainty import Part, combine, indicator_error

    turn = -1.0 if evidence.options.get("side") == "left" else 1.0
    spots: dict[str, list[float]] = {name: [] for name in PLACES}
    places: dict[str, list[float]] = {name: [] for name in PLACES}
    for trace in evidence.traces:
        spots[trace.placement].extend(turn * r for r in trace.reading)
        places[trace.placement].extend(trace.travel)
    remarks: list[Remark] = []
    # leaned and twisted are read at two places, each with a stand of its own
    doubts = [
        *uneven_spots({name: spots[name] for name in PLACES[:2]}),
        *uneven_spots({name: spots[name] for name in PLACES[2:]}),
    ]
    for pair in (PLACES[:2], PLACES[2:]):
        lacking = [name for name in pair if not spots[name]]
        if len(lacking) == 1:
            there = next(name for name in pair if spots[name])
            values = {"lacking": lacking[0], "there": there}
            remarks.append(Remark("pair-lacking", values=values, severity="warning"))
    quantities: list[Quantity] = []
    budget: list[BudgetRow] = []
    indicator = evidence.gear.indicator
    count = count_of(indicator, [r for name in PLACES for r in spots[name]])
    confidence = 0.99 if evidence.known.looks else 0.95
    found: dict[str, float] = {}

    def add(
        name: str, value: float, u: float | None, dof: float, per: float, unit: str
    ) -> None:
        used = abs(value) * per
        scatter = None
        if u is not None:
            scatter = Part(
                "scatter of the leans",
                "A",
                u,
                dof if math.isfinite(dof) and dof > 0 else None,
            )
        span = indicator_error(
            used, count, short_span_error=indicator.short_span_error, rounded=True
        )
        rows = [
            scatter,
            Part("indicator over the span used", "B", span / per),
            Part("resolution", "B", count / 2 / math.sqrt(3) * math.sqrt(2) / per),
        ]
        combined = combine(rows, confidence)
        found[name] = value
        if u is None:
            values = {"quantity": name}
            remarks.append(Remark("read-once", values=values, severity="warning"))
        quantities.append(
            Quantity(
                name,
                value,
                "rad" if unit == "rad" else "mm",
                combined.expanded,
                combined.degrees_of_freedom,
            )
        )
        if not budget:
            budget.extend(combined.rows)

    try:
        if spots["leaned-left"] and spots["leaned-right"]:
            leaned = side_play(spots["leaned-left"], spots["leaned-right"])
            add(
                "side-play",
                float(leaned.value),
                leaned.standard_uncertainty,
                leaned.degrees_of_freedom,
                1.0,
                "mm",
            )
            if leaned.value < 0:
                remarks.append(Remark("leaned-wrong", severity="warning"))
            else:
                remarks.append(
                    _held(
                        spots["leaned-left"], spots["leaned-right"], float(leaned.value)
                    )
                )
            if 0 <= leaned.value < BINDS:
                band = {"limit": BINDS}
                remarks.append(Remark("play-little", values=band, severity="act"))
            elif leaned.value > LOOSE:
                band = {"limit": LOOSE}
                remarks.append(Remark("play-much", values=band, severity="act"))
            elif leaned.value > 0:
                band = {"binds": BINDS, "loose": LOOSE}
                remarks.append(Remark("play-good", values=band, severity="act"))
        if spots["twisted-left"] and spots["twisted-right"]:
            place = statistics.fmean(places["twisted-left"] + places["twisted-right"])
            if abs(place) < 1.0:
                raise EvidenceError(
                    "twisted at the runners' middle nothing is seen: read some way off"
                    " it (travel)"
                )
            twisted = yaw_play(spots["twisted-left"], spots["twisted-right"], place)
            add(
                "yaw-play",
                float(twisted.value),
                twisted.standard_uncertainty,
                twisted.degrees_of_freedom,
                abs(place),
                "rad",
            )
            if statistics.fmean(spots["twisted-right"]) < statistics.fmean(
                spots["twisted-left"]
            ):
                remarks.append(Remark("twisted-wrong", severity="warning"))
            scatter = {"yaw": float(abs(twisted.value))}
            remarks.append(Remark("cuts-scatter", values=scatter))
    except GeometryError as error:
        raise EvidenceError(str(error)) from error
    remarks.extend(_runner_remarks(evidence, found, places))
    if not quantities:
        raise EvidenceError(
            "it takes leaned-left with leaned-right, or twisted-left with twisted-right"
        )
    jig = evidence.gear.jig
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        confidence=confidence,
        budget=budget,
        remarks=remarks,
        doubts=doubts,
    )


def _held(left: list[float], right: list[float], play: float) -> Remark:
    """Free, leaned left, leaned right: how far the sled may stand off, and how well
    either wall brings it back."""
    if min(len(left), len(right)) < FEWEST:
        return Remark("shift-free", values={"play": play})
    back = [max(values) - min(values) for values in (left, right)]
    return Remark(
        "shift-free-and-leaned",
        values={"play": play, "left": back[0], "right": back[1]},
    )


def _runner_remarks(
    evidence: Evidence, found: Mapping[str, float], places: Mapping[str, list[float]]
) -> list[Remark]:
    """A runner of length Lr with clearance c shifts by c and yaws by 2 c / Lr: each
    foretells the other."""
    length = given_number(evidence.options, "runner_length")
    if length is None:
        return []
    remarks = []
    twisted = [
        abs(at) for name in ("twisted-left", "twisted-right") for at in places[name]
    ]
    if twisted and statistics.fmean(twisted) < 0.98 * length / 2:
        values = {"at": statistics.fmean(twisted), "better": length / 2}
        remarks.append(Remark("twisted-near", values=values, severity="warning"))
    side, yaw = found.get("side-play"), found.get("yaw-play")
    if side is None or yaw is None:
        return remarks
    foretold = yaw * length / 2
    low, high = sorted((abs(side), foretold))
    if low < UNACCOUNTED * high:
        values = {"leaned": abs(side), "twisted": foretold}
        remarks.append(Remark("plays-differ", values=values, severity="warning"))
    return remarks


KIND = "side-play"

CHECK = Check(
    kind=KIND,
    question="How far do the runners let the sled shift and twist?",
    plan=plan,
    evaluate=evaluate,
    quantities=("side-play", "yaw-play"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        Option(
            "twist_at",
            "length",
            "How far from the runners' middle the twist is read",
            low=1.0,
            high=5000.0,
        ),
        Option(
            "runner_length", "length", "Length of the runners", low=10.0, high=5000.0
        ),
        SIDE,
    ),
    needs=("jig",),
    rank=7,
    measures=("yaw-play",),
)
