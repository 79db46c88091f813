"""The true value of each quantity of a finding, from the virtual saw; mm and rad."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import msgspec

from bench.checks import find
from bench.checks.options import OptionValue
from bench.finding import Finding, Quantity
from bench.render.names import quantity_name
from bench.render.result import large_size, opposite
from bench.units import System, bow_words
from hw.virtual.saw import VirtualSaw

JOB = "fence-square"  # the check of the whole job: measured, moved, verified
BOARD_MM = 600.0  # mm: the pretend sled's widest board, see hw.virtual.saw
WHOLE_MM = 500.0  # mm of a sled fence: swept, and not read at marks

Options = Mapping[str, OptionValue]
Truth = dict[str, float]


def truth_of(
    saw: VirtualSaw, kind: str, options: Options, finding: Finding | None = None
) -> Truth:
    """Quantity -> value, as things stand now. Empty for a kind that the saw knows
    nothing of.

    finding: where given, along a sled fence, that of the stretch it tells of; at a few
    marks nobody sees how straight it is between them, only its bow.
    """
    return TRUTHS[kind](saw, options, finding) if kind in TRUTHS else {}


TruthOf = Callable[[VirtualSaw, Options, Finding | None], Truth]


def _named(names: Mapping[str, str]) -> TruthOf:
    """Quantities by the names under which the saw knows them."""

    def truth(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
        plain = saw.truth()
        return {quantity: plain[known] for quantity, known in names.items()}

    return truth


def _plate(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
    return saw.bodies.plate_truth()


def _straight(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
    profile = finding.profile if finding is not None else []
    form = (
        saw.bodies.form_truth(profile[0][0], profile[-1][0])
        if profile
        else saw.bodies.form_truth()
    )
    whole = not profile or profile[-1][0] - profile[0][0] > WHOLE_MM
    straight = {"minimum-zone": form["straightness"]} if whole else {}
    return {**straight, "bow": form["crown"]}


def _runners(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
    sides = {"both": (0, 1), "right": (1,)}.get(str(options.get("runner")), (0,))
    return {
        name.replace("_", "-"): value
        for name, value in saw.bodies.runner_truth(sides).items()
    }


def _board(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
    kept = "right" if options.get("kept") == "right" else "left"
    return {"board": saw.bodies.board_truth(saw.face(), saw.slot_angle, kept)}


def _leans(saw: VirtualSaw, options: Options, finding: Finding | None) -> Truth:
    only = str(options.get("placements") or "both")
    leans = {"fence": saw.fence_lean, "blade": saw.blade_lean}
    return {f"{name}-lean": v for name, v in leans.items() if only in ("both", name)}


TRUTHS: dict[str, TruthOf] = {
    JOB: _named({"fence": "rotation", "square": "reference_error"}),
    "slot-blade": _named({"blade": "blade"}),
    "rip-fence": _named({"rip-fence": "rip_fence"}),
    "plate-wobble": _plate,
    "fence-straight": _straight,
    "side-play": _named({"side-play": "side_play", "yaw-play": "yaw_play"}),
    "runner-fit": _runners,
    "test-board": _board,
    "mitre-square": _named({name: name for name in ("between", "left", "right")}),
    "upright": _leans,
}


def outside_uncertainty(finding: Finding, truth: Truth) -> list[str]:
    """Quantities whose give or take does not hold what is true; an angle round the turn
    is one modulo a turn."""
    return [
        q.name
        for q in finding.quantities
        if q.name in truth
        and _off(q.value - truth[q.name], q.name) > q.uncertainty + 1e-12
    ]


def _off(difference: float, name: str) -> float:
    return abs(math.remainder(difference, math.tau) if name == "phase" else difference)


def truth_words(finding: Finding, truth: Truth, units: System = "mm") -> list[str]:
    """What the saw knows of each quantity: its way, and its size over the length that
    the result tells it over."""
    board = BOARD_MM if find(finding.check).turns_fence else None
    return [
        f"{quantity_name(q.name)}: "
        f"{_true_size(q, truth[q.name], None if place else board, units)}"
        for place, q in enumerate(finding.quantities)
        if q.name in truth
    ]


def _true_size(q: Quantity, known: float, board: float | None, units: System) -> str:
    if q.name == "phase":
        return f"{math.degrees(known):.0f} degrees"
    if q.unit == "1/mm":
        return bow_words(known, units)
    size, nothing = (_exactly(q, value, board, units) for value in (known, 0.0))
    if q.way is None or size == nothing:  # what is shown as zero has no way
        return size
    way = q.way if known * q.value >= 0.0 else opposite(q.way)
    return f"{way}, {size}"


def _exactly(q: Quantity, value: float, board: float | None, units: System) -> str:
    exact = msgspec.structs.replace(q, value=value, uncertainty=0.0)
    return " ".join(large_size(exact, units, board)).strip()
