"""Do the runners fit their slots? Widths by caliper at stations; a rigid runner slid
through at every place.

Widths cannot see a bowed slot, and a caliper's errors make this an estimate with a wide
interval: side-play, measured on the saw, is the better number. mm and rad; stations run
from the near end, away from the operator.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import Option, OptionValues, choice, length, number
from bench.checks.shared.cautions import BLADE_DOWN, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.shared.plausibility import width_problems
from bench.checks.shared.results import budget_of, finding, quantity
from bench.checks.shared.runner_widths import (
    MEASURED_BODIES,
    RunnersAndSlots,
    error_effects,
    headline_plays,
    runners_and_slots,
)
from bench.checks.shared.traces import columns_by_placement
from bench.checks.side_play import BINDS, LOOSE
from bench.finding import (
    EvidenceError,
    Finding,
    Position,
    Quantity,
    Remark,
    Settle,
    Verdict,
    act,
    note,
)
from bench.uncertainty.budget import Budget, Part, rectangular
from bench.uncertainty.verdicts import verdict_between

if TYPE_CHECKING:
    from bench.geometry.runner_play import RunnerFit

USUAL_STATIONS = 5
# mm, live, unless said; common practice, no source
SLOT_LENGTH, RUNNER_LENGTH = 600.0, 450.0
# mm of clearance, both sides together, in wood; common practice
RUNNING_CLEARANCE = 0.05
# mm, half-width: a bow of slot or runner that no width shows; common practice, no
# source
UNSEEN_BOW = 0.02
ONE_PLACE = 1.0  # mm: a tight stretch shorter than this is told as one place
WORDS = {
    "slot": "Caliper's inside jaws across the {side} slot",
    "runner": "Caliper's outside jaws across the {side} runner",
    "slot-spacing": "Caliper across both slots, from left wall to left wall",
    "runner-spacing": "Caliper across both runners, from left side to left side",
}

# where the stations are counted from
NEAR_END = {"slot": "the front edge of the table", "runner": "the runner's near end"}


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    """Slot and runner of one side or both, station by station from the near end."""
    chosen = options.get("runner") or "left"
    sides = ("left", "right") if chosen == "both" else (str(chosen),)
    steps: list[Step] = []
    for what, along in (
        ("slot", number(options, "slot_length", SLOT_LENGTH)),
        ("runner", number(options, "runner_length", RUNNER_LENGTH)),
    ):
        for side in sides:
            steps += [_width(f"{what}-{side}", at) for at in _stations(options, along)]
        if len(sides) == 2:
            steps += [_width(f"{what}-spacing", at) for at in (0.0, along)]
    return tuple(steps)


def _stations(options: OptionValues, along: float) -> list[float]:
    n = int(number(options, "stations", USUAL_STATIONS))
    return [round(along * k / (n - 1), 3) for k in range(n)]


def _width(name: str, at: float | None) -> Step:
    what, _, side = name.partition("-")
    words = (WORDS[name] if name in WORDS else WORDS[what]).format(side=side)
    where = "" if at is None else f". Measure at {NEAR_END[what]}"
    if at:
        where = f". Measure {{at:station}} from {NEAR_END[what]}"
    return Step(
        name,
        words + where + ".",
        "width",
        repeat=1,
        at=at,
        picture=f"{what}-widths",
        continues=bool(at),
        focus=Focus("place", at) if at is not None else None,
    )


def accepts(placement: str, options: OptionValues, gear: EvidenceGear) -> Step | None:
    return _width(placement, None) if placement in MEASURED_BODIES else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.runner_play import runner_fit

    found = runners_and_slots(evidence.traces, evidence.gear.caliper)
    fit = runner_fit(found.runners, found.slots)
    if fit.yaw_play is None or fit.side_play is None:
        raise EvidenceError(
            "the stations bound no play: measure slot and runner at more places"
        )
    yaw, side, relief = _budgets(evidence, found, fit)
    least = number(evidence.options, "clearance_least", BINDS)
    most = number(evidence.options, "clearance_most", LOOSE)
    tightest = fit.tightest.clearance
    said: Verdict | None = None
    limits = (evidence.options.get(f"clearance_{of}") for of in ("least", "most"))
    if evidence.gear.jig is not None or any(limit is not None for limit in limits):
        # the tightest place must clear the one limit, the loosest the other
        said = verdict_between(tightest, side.expanded, least, most, fit.side_play)
    doubts, remarks = width_problems(columns_by_placement(evidence.traces))
    if not remarks and not doubts:  # what may be misread is not acted on
        remarks += _advice(fit, tightest, least, most)
    remarks += _scope_remarks(found, fit)
    settled = None
    if said == "cannot-tell" and side.rows:
        settled = Settle(part=side.rows[0].part)
        remarks.append(note("measure-the-play"))
    way = _way(tightest, fit.side_play, least, most)
    binds = "binds" if fit.relief > 0 else None
    quantities = [
        quantity("yaw-play", fit.yaw_play, yaw, over=found.runner_length),
        quantity("side-play", fit.side_play, side, way=way, unit="mm"),
        quantity("relief", fit.relief, relief, way=binds, unit="mm"),
    ]
    below = headline_plays(fit.positions, fit.full, found.runner_length)
    quantities = list(map(_bounded_at_zero, quantities, below))
    if said is not None:
        judged = {"tolerance": most, "verdict": said, "band": (least, most)}
        quantities[1] = msgspec.structs.replace(quantities[1], **judged)
    return finding(
        evidence,
        quantities,
        yaw,
        settle=settled,
        positions=[
            Position(float(p.at), p.yaw_play, p.side_play, float(p.relief))
            for p in fit.positions
        ],
        remarks=remarks,
        doubts=doubts,
    )


def _bounded_at_zero(shown: Quantity, below: float) -> Quantity:
    """A quantity that is shown as 0 and goes on below 0: its uncertainty is cut to what
    its upper end leaves above 0."""
    if below >= 0.0:
        return shown
    left = max(0.0, below + shown.uncertainty)
    return msgspec.structs.replace(shown, uncertainty=left)


def _budgets(
    evidence: Evidence, found: RunnersAndSlots, fit: RunnerFit
) -> tuple[Budget, Budget, Budget]:
    """The budgets of yaw play, side play and relief."""
    bow = number(evidence.options, "slot_straight", UNSEEN_BOW)
    # a bow of h takes h off the side play, wants h more relief, and 2 h over the length
    # off the yaw play, as two bows would
    name = "bow that no width shows"
    rows: list[list[Part | None]] = [
        [rectangular(name, 2.0 * bow / found.runner_length)],
        [rectangular(name, bow)],
        [rectangular(name, bow)],
    ]
    for part, effect in error_effects(found, fit).items():
        dof = found.reading_dof if part == "widths as read" else None
        for row, u in zip(rows, effect, strict=True):
            row.append(Part(part, "B" if dof is None else "A", u, dof))
    yaw, side, relief = (budget_of(evidence, row) for row in rows)
    return yaw, side, relief


def _way(tightest: float, loosest: float, least: float, most: float) -> str | None:
    if tightest < 0:
        return "binds"
    if tightest < least:
        return "tight"
    return "loose" if loosest > most else None


def _advice(fit: RunnerFit, tightest: float, least: float, most: float) -> list[Remark]:
    """Remarks on where it is tight or loose, and on what to do."""
    remarks = []
    if fit.relief > 0:
        # a hundredth too little does not let it through
        off = math.ceil(fit.relief * 100 - 1e-6) / 100
        low, high = fit.tight or (fit.tightest.at, fit.tightest.at)
        remarks.append(
            act(
                "tight",
                one_place=float(high - low < ONE_PLACE),
                **{
                    "from": float(low),
                    "to": float(high),
                    "off": off,
                    "off_to_run": off + RUNNING_CLEARANCE,
                    "clearance": RUNNING_CLEARANCE,
                },
            )
        )
    elif tightest < least:
        remarks.append(
            act(
                "nearly-tight",
                spare=float(tightest),
                places=[float(t) for t in fit.tightest.tight[:3]],
                least=least,
                off=float(max(RUNNING_CLEARANCE - tightest, 0.0)),
            )
        )
    loosest = fit.side_play or 0.0
    if loosest > most:
        remarks.append(
            act(
                "loose",
                play=float(loosest),
                most=most,
                pack=float(loosest - RUNNING_CLEARANCE),
            )
        )
    return remarks


def _scope_remarks(found: RunnersAndSlots, fit: RunnerFit) -> list[Remark]:
    """Remarks on what the figures do not cover."""
    longer = [] if fit.whole else [note("runner-longer")]
    one = [note("one-runner", side=s) for s in found.sides if len(found.sides) == 1]
    return [*longer, *one, note("widths-only")]


CHECK = Check(
    kind="runner-fit",
    question="Do the runners fit their slots?",
    plan=plan,
    evaluate=evaluate,
    quantities=("yaw-play", "side-play", "relief"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, MANUAL),
    options=(
        choice(
            "runner",
            "Which runner is measured",
            ("left", "right", "both"),
            default="left",
        ),
        Option(
            "stations",
            "count",
            "At how many places slot and runner are measured",
            USUAL_STATIONS,
            low=2,
            high=50,
        ),
        length(
            "slot_length",
            "Length of the slot that is measured",
            (10.0, 10000.0),
            default=SLOT_LENGTH,
        ),
        length("runner_length", "Length of the runners", (10.0, 5000.0)),
        length(
            "slot_straight",
            "How straight the slot is over a runner's length",
            (0.0, 10.0),
        ),
        length(
            "clearance_least",
            "Clearance, both sides together, under which it binds",
            (0.0, 10.0),
        ),
        length("clearance_most", "Clearance over which it is loose", (0.001, 10.0)),
    ),
    needs=("jig", "caliper"),
    rank=6,
    columns=("what", "station", "width"),
    accepts=accepts,
)
