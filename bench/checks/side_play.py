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

from bench.checks.model import Check, Evidence, EvidenceGear, Step
from bench.checks.options import SIDE, OptionValue, given_number, length, number
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.play import (
    PLAY_SET_UPS,
    PlayFindings,
    play_step,
    runner_length,
)
from bench.checks.shared.results import finding
from bench.checks.shared.slips import uneven_spots
from bench.finding import EvidenceError, Finding, Remark, act, note, warning
from bench.uncertainty import Part

FEWEST_REPEATS = 2  # readings one way that show how well it comes back
# share of the play that one way of looking misses before it is remarked on
UNACCOUNTED = 0.5
TWIST_AT = 250.0  # mm from the runners' middle, live, unless said
# mm, half-width: a spot's place from the runners' middle, by eye; common practice, no
# source
PLACE_ERROR = 15.0


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    # half a runner's length off the middle the swing is the whole yaw play
    runner = runner_length(options, gear) or 0.0
    at = number(options, "twist_at", max(TWIST_AT, runner / 2))
    return tuple(play_step(name, at) for name in PLAY_SET_UPS)


def evaluate(evidence: Evidence) -> Finding:
    spots, places = _spots(evidence)
    found = PlayFindings(evidence, [r for name in PLAY_SET_UPS for r in spots[name]])
    # leaned and twisted are read at two places, each with a stand of its own
    doubts = [
        *uneven_spots({name: spots[name] for name in PLAY_SET_UPS[:2]}),
        *uneven_spots({name: spots[name] for name in PLAY_SET_UPS[2:]}),
    ]
    for pair in (PLAY_SET_UPS[:2], PLAY_SET_UPS[2:]):
        lacking = [name for name in pair if not spots[name]]
        if len(lacking) == 1:
            there = next(name for name in pair if spots[name])
            found.remarks.append(
                warning("pair-lacking", lacking=lacking[0], there=there)
            )
    if spots["leaned-left"] and spots["leaned-right"]:
        _leaned(found, spots)
    if spots["twisted-left"] and spots["twisted-right"]:
        _twisted(found, spots, places)
    found.remarks.extend(_runner_remarks(evidence, found.values, places))
    if not found.quantities:
        raise EvidenceError(
            "it takes leaned-left with leaned-right, or twisted-left with twisted-right"
        )
    return finding(
        evidence,
        found.quantities,
        found.budgets[0],
        remarks=found.remarks,
        doubts=doubts,
    )


def _spots(evidence: Evidence) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Displacements to the right and places along Y, by set-up, mm."""
    turn = -1.0 if evidence.options.get("side") == "left" else 1.0
    spots: dict[str, list[float]] = {name: [] for name in PLAY_SET_UPS}
    places: dict[str, list[float]] = {name: [] for name in PLAY_SET_UPS}
    for trace in evidence.traces:
        spots[trace.placement].extend(turn * r for r in trace.reading)
        places[trace.placement].extend(trace.travel)
    return spots, places


def _leaned(found: PlayFindings, spots: Mapping[str, list[float]]) -> None:
    from bench.geometry.play import side_play

    left, right = spots["leaned-left"], spots["leaned-right"]
    leaned = side_play(left, right)
    found.add("side-play", leaned, 1.0, [])
    play = float(leaned.value)
    if play < 0:
        found.remarks.append(warning("leaned-wrong"))
        return
    found.remarks.append(_held(left, right, play))
    binds, loose, _ = found.limits()
    if play < binds:
        found.remarks.append(act("play-little", limit=binds))
    elif play > loose:
        found.remarks.append(act("play-much", limit=loose))
    elif math.isfinite(loose):
        found.remarks.append(act("play-good", binds=binds, loose=loose))


def _twisted(
    found: PlayFindings,
    spots: Mapping[str, list[float]],
    places: Mapping[str, list[float]],
) -> None:
    from bench.geometry.play import yaw_play

    left, right = spots["twisted-left"], spots["twisted-right"]
    place = statistics.fmean(places["twisted-left"] + places["twisted-right"])
    if abs(place) < 1.0:
        raise EvidenceError(
            "twisted at the runners' middle nothing is seen: read some way off it"
            " (travel)"
        )
    place_error = number(found.options, "place_error", PLACE_ERROR) / math.sqrt(3)
    twisted = yaw_play(left, right, place, found.runner, place_error)
    rows = [Part("place of the spots", "B", twisted.place_uncertainty)]
    if twisted.lever_uncertainty > 0:
        rows.append(Part("lever of the twist", "B", twisted.lever_uncertainty))
        if not found.runner_said:
            found.remarks.append(
                note("runner-usual", at=abs(place), runner=found.runner)
            )
    unsaid = given_number(found.options, "place_error") is None
    if unsaid and twisted.place_uncertainty > (twisted.standard_uncertainty or 0.0):
        found.remarks.append(note("place-usual", off=PLACE_ERROR))
    found.add("yaw-play", twisted, twisted.lever, rows)
    if statistics.fmean(right) < statistics.fmean(left):
        found.remarks.append(warning("twisted-wrong"))
    found.remarks.append(note("cuts-scatter", yaw=float(abs(twisted.value))))


def _held(left: list[float], right: list[float], play: float) -> Remark:
    """Free, leaned left, leaned right: how far the sled may stand off, and how well
    either wall brings it back."""
    if min(len(left), len(right)) < FEWEST_REPEATS:
        return note("shift-free", play=play)
    back = [max(values) - min(values) for values in (left, right)]
    return note("shift-free-and-leaned", play=play, left=back[0], right=back[1])


def _runner_remarks(
    evidence: Evidence, found: Mapping[str, float], places: Mapping[str, list[float]]
) -> list[Remark]:
    """A runner of length Lr with clearance c shifts by c and yaws by 2 c / Lr: each
    foretells the other."""
    runner = runner_length(evidence.options, evidence.gear)
    if runner is None:
        return []
    remarks = []
    twisted = [
        abs(at) for name in ("twisted-left", "twisted-right") for at in places[name]
    ]
    if twisted and statistics.fmean(twisted) < 0.98 * runner / 2:
        remarks.append(
            warning("twisted-near", at=statistics.fmean(twisted), better=runner / 2)
        )
    side, yaw = found.get("side-play"), found.get("yaw-play")
    if side is None or yaw is None:
        return remarks
    foretold = yaw * runner / 2
    low, high = sorted((abs(side), foretold))
    if low < UNACCOUNTED * high:
        remarks.append(warning("plays-differ", leaned=abs(side), twisted=foretold))
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
