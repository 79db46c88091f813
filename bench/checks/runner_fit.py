"""Do the runners fit their slots? Widths by caliper at stations; a rigid runner slid
through at every place.

Widths cannot see a bowed slot, and a caliper's errors make this an estimate with a wide
interval: side-play, measured on the saw, is the better number. mm and rad; stations run
from the near end, away from the operator.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from bench.checks.model import (
    Check,
    Evidence,
    EvidenceError,
    EvidenceGear,
    Focus,
    Step,
)
from bench.checks.options import Option, OptionValue, number
from bench.checks.shared.cautions import BLADE_DOWN, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.shared.runner_widths import (
    WHAT,
    Measured,
    by_name,
    effects,
    full_positions,
    headline,
    measured,
    tightness,
)
from bench.checks.shared.width_doubts import of_runners
from bench.finding import Finding, Position, Quantity, Remark, Settle, Verdict

if TYPE_CHECKING:
    from bench.geometry.runner_play import RunnerFit
    from bench.uncertainty import Combined

STATIONS = 5
# mm, live, unless said; common practice, no source
SLOT_LENGTH, RUNNER_LENGTH = 600.0, 450.0
# clearance in mm, both sides together, in wood; common practice, no source
BINDS, LOOSE, RUNS = 0.03, 0.15, 0.05
# mm, half-width: a bow of slot or runner that no width shows; common practice, no
# source
BOW = 0.02
ONE_PLACE = 1.0  # mm: a tight stretch shorter than this is told as one place
WORDS = {
    "slot": "Caliper's inside jaws across the {side} slot",
    "runner": "Caliper's outside jaws across the {side} runner",
    "slot-spacing": "Caliper across both slots, from left wall to left wall",
    "runner-spacing": "Caliper across both runners, from left side to left side",
}


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    """Slot and runner of one side or both, station by station from the near end."""
    del gear
    chosen = options.get("runner") or "left"
    sides = (
        ("left", "right")
        if chosen == "both"
        else ("right",)
        if chosen == "right"
        else ("left",)
    )
    steps: list[Step] = []
    for what, length in (
        ("slot", number(options, "slot_length", SLOT_LENGTH)),
        ("runner", number(options, "runner_length", RUNNER_LENGTH)),
    ):
        for side in sides:
            steps += [_width(f"{what}-{side}", at) for at in _stations(options, length)]
        if len(sides) == 2:
            steps += [_width(f"{what}-spacing", at) for at in (0.0, length)]
    return tuple(steps)


def _stations(options: Mapping[str, OptionValue], length: float) -> list[float]:
    n = int(number(options, "stations", STATIONS))
    return [round(length * k / (n - 1), 3) for k in range(n)]


def _width(name: str, at: float | None) -> Step:
    what, _, side = name.partition("-")
    words = (WORDS[name] if name in WORDS else WORDS[what]).format(side=side)
    where = "" if at is None else ". Measure {at:station} from the near end"
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


def accepts(
    placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> Step | None:
    del options, gear
    return _width(placement, None) if placement in WHAT else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.columns import GeometryError
    from bench.geometry.runner_play import runner_fit

    try:
        found = measured(evidence.traces, evidence.gear.caliper)
        fit = runner_fit(found.runners, found.slots)
        return _conclude(evidence, found, fit)
    except GeometryError as error:
        raise EvidenceError(str(error)) from error


def _conclude(evidence: Evidence, found: Measured, fit: RunnerFit) -> Finding:
    if fit.yaw_play is None or fit.side_play is None:
        raise EvidenceError(
            "the stations bound no play: measure slot and runner at more places"
        )
    yaw, side, relief = _budgets(evidence, found, fit)
    below = headline(fit.positions, full_positions(found, fit), found.runner_length)
    least, most = _limits(evidence)
    tightest = min(tightness(f) for f in fit.positions)
    said = _verdict(tightest, fit.side_play, side.expanded, least, most)
    judged = evidence.gear.jig is not None or any(
        evidence.options.get(name) is not None
        for name in ("clearance_least", "clearance_most")
    )
    doubts, remarks = of_runners(by_name(evidence.traces))
    if not remarks and not doubts:  # what may be misread is not acted on
        remarks += _advice(fit, tightest, least, most)
    remarks += _left_open(found, fit)
    settled = (
        Settle(part=side.rows[0].part)
        if judged and said == "cannot-tell" and side.rows
        else None
    )
    if settled is not None:
        remarks.append(Remark("measure-the-play"))
    jig = evidence.gear.jig
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=[
            Quantity(
                "yaw-play",
                float(fit.yaw_play),
                "rad",
                _give(below[0], yaw.expanded),
                yaw.degrees_of_freedom,
                over=found.runner_length,
            ),
            Quantity(
                "side-play",
                float(fit.side_play),
                "mm",
                _give(below[1], side.expanded),
                side.degrees_of_freedom,
                most if judged else None,
                said if judged else None,
                _way(tightest, fit.side_play, least, most),
            ),
            Quantity(
                "relief",
                float(fit.relief),
                "mm",
                _give(below[2], relief.expanded),
                relief.degrees_of_freedom,
                way=f"binds {_where(fit)}" if fit.relief > 0 else None,
            ),
        ],
        verdict=said if judged else None,
        confidence=side.confidence,
        settle=settled,
        budget=yaw.rows,
        positions=[
            Position(
                at=float(p.at),
                yaw_play=None if p.yaw_play is None else float(p.yaw_play),
                side_play=None if p.side_play is None else float(p.side_play),
                relief=float(p.relief),
            )
            for p in fit.positions
        ],
        remarks=remarks,
        doubts=doubts,
    )


def _give(below: float, expanded: float) -> float:
    """Of what is shown as 0 below 0: it can only be 0, or what little the upper end
    still leaves open."""
    return expanded if below >= 0.0 else max(0.0, below + expanded)


def _budgets(
    evidence: Evidence, found: Measured, fit: RunnerFit
) -> tuple[Combined, Combined, Combined]:
    """Of yaw play, side play and relief."""
    from bench.uncertainty import Part, combine, rectangular

    confidence = 0.99 if evidence.known.looks else 0.95
    bow = number(evidence.options, "slot_straight", BOW)
    # a bow of h takes h off the side play, wants h more relief, and 2 h over the length
    # off the yaw play, as two bows would
    name = "bow that no width shows"
    rows: list[list[Part | None]] = [
        [rectangular(name, 2.0 * bow / found.runner_length)],
        [rectangular(name, bow)],
        [rectangular(name, bow)],
    ]
    for part, effect in effects(found, fit).items():
        dof = found.reading_dof if part == "widths as read" else None
        kind = "A" if dof is not None else "B"
        for row, u in zip(
            rows, (effect.yaw_play, effect.side_play, effect.relief), strict=True
        ):
            row.append(Part(part, "A" if kind == "A" else "B", u, dof))
    yaw, side, relief = (combine([p for p in row if p], confidence) for row in rows)
    return yaw, side, relief


def _limits(evidence: Evidence) -> tuple[float, float]:
    options = evidence.options
    return number(options, "clearance_least", BINDS), number(
        options, "clearance_most", LOOSE
    )


def _verdict(
    tightest: float, loosest: float, expanded: float, least: float, most: float
) -> Verdict:
    """Two limits: the tightest place must clear the one, the loosest the other."""
    if tightest - expanded >= least and loosest + expanded <= most:
        return "inside"
    if tightest + expanded < least or loosest - expanded > most:
        return "outside"
    return "cannot-tell"


def _way(tightest: float, loosest: float, least: float, most: float) -> str | None:
    if tightest < 0:
        return "binds"
    if tightest < least:
        return "tight"
    return "loose" if loosest > most else None


def _where(fit: RunnerFit) -> str:
    if fit.tight is None:
        return f"at {fit.tightest.at:.0f} mm"
    low, high = fit.tight
    return (
        f"at {low:.0f} mm"
        if high - low < ONE_PLACE
        else f"from {low:.0f} to {high:.0f} mm"
    )


def _advice(fit: RunnerFit, tightest: float, least: float, most: float) -> list[Remark]:
    """Where it is tight or loose, and what to do."""
    remarks = []
    if fit.relief > 0:
        # a hundredth too little does not let it through
        off = math.ceil(fit.relief * 100 - 1e-6) / 100
        low, high = fit.tight or (fit.tightest.at, fit.tightest.at)
        remarks.append(
            Remark(
                "tight",
                values={
                    "one_place": float(high - low < ONE_PLACE),
                    "from": float(low),
                    "to": float(high),
                    "off": off,
                    "off_to_run": off + RUNS,
                    "clearance": RUNS,
                },
                severity="act",
            )
        )
    elif tightest < least:
        place = min(fit.positions, key=tightness)
        remarks.append(
            Remark(
                "nearly-tight",
                values={
                    "spare": float(tightest),
                    "places": [float(t) for t in place.tight[:3]],
                    "least": least,
                    "off": float(max(RUNS - tightest, 0.0)),
                },
                severity="act",
            )
        )
    loosest = fit.side_play or 0.0
    if loosest > most:
        values = {"play": float(loosest), "most": most, "pack": float(loosest - RUNS)}
        remarks.append(Remark("loose", values=values, severity="act"))
    return remarks


def _left_open(found: Measured, fit: RunnerFit) -> list[Remark]:
    """What the figures leave open."""
    remarks = []
    if not fit.whole:
        remarks.append(Remark("runner-longer"))
    if len(found.sides) == 1:
        remarks.append(Remark("one-runner", values={"side": found.sides[0]}))
    remarks.append(Remark("widths-only"))
    return remarks


KIND = "runner-fit"

CHECK = Check(
    kind=KIND,
    question="Do the runners fit their slots?",
    plan=plan,
    evaluate=evaluate,
    quantities=("yaw-play", "side-play", "relief"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, MANUAL),
    options=(
        Option(
            "runner",
            "choice",
            "Which runner is measured live",
            "left",
            ("left", "right", "both"),
        ),
        Option(
            "stations",
            "count",
            "At how many places slot and runner are measured live",
            STATIONS,
            low=2,
            high=50,
        ),
        Option(
            "slot_length",
            "length",
            "Length of the slot that is measured live",
            SLOT_LENGTH,
            low=10.0,
            high=10000.0,
        ),
        Option(
            "runner_length", "length", "Length of the runners", low=10.0, high=5000.0
        ),
        Option(
            "slot_straight",
            "length",
            "How straight the slot is over a runner's length",
            low=0.0,
            high=10.0,
        ),
        Option(
            "clearance_least",
            "length",
            "Clearance, both sides together, under which it binds",
            low=0.0,
            high=10.0,
        ),
        Option(
            "clearance_most",
            "length",
            "Clearance over which it is loose",
            low=0.001,
            high=10.0,
        ),
    ),
    needs=("jig", "caliper"),
    rank=6,
    columns=("what", "station", "width"),
    accepts=accepts,
)
