"""Do the runners fit their slots? Widths by caliper at stations; a rigid runner slid through at every place.

Widths cannot see a bowed slot, and a caliper's errors make this an estimate with a wide interval: side-play,
measured on the saw, is the better number. May import: bench.checks, bench.finding; arithmetic inside functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Literal

from bench.checks.cautions import BLADE_DOWN, COUNT_OFF, MANUAL, UNPLUG
from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Option, OptionValue, Step
from bench.finding import BudgetRow, Finding, Position, Quantity

if TYPE_CHECKING:
    from bench.geometry.runner_play import Widths

STATIONS = 5
SLOT_LENGTH, RUNNER_LENGTH = 700.0, 500.0  # mm, live, unless said; common practice, no source
BINDS, LOOSE = 0.03, 0.15  # mm of clearance, both sides together, in wood; common practice, no source
WHAT = ("slot-left", "slot-right", "runner-left", "runner-right", "slot-spacing", "runner-spacing")
WORDS = {
    "slot": "Caliper, inside jaws: width of the {side} slot at the mark",
    "runner": "Caliper, outside jaws: width of the {side} runner at the mark",
}


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    """Live: slot and runner of one side, station by station, near to far."""
    del gear
    side = "right" if options.get("runner") == "right" else "left"
    count = options.get("stations")
    stations = int(count) if isinstance(count, int | float) and count >= 2 else STATIONS
    steps: list[Step] = []
    for what, length in (("slot", SLOT_LENGTH), ("runner", RUNNER_LENGTH)):
        for index in range(stations):
            steps.append(_width(f"{what}-{side}", length * index / (stations - 1)))
    return tuple(steps)


def _width(name: str, at: float | None) -> Step:
    what, _, side = name.partition("-")
    words = (
        WORDS[what].format(side=side) if what in WORDS and side != "spacing" else f"{name}, centre to centre"
    )
    return Step(name, f"{words}." if at is None else f"{words} {at:.0f} mm.", "width", repeat=1, at=at)


def accepts(placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear) -> Step | None:
    del options, gear
    return _width(placement, None) if placement in WHAT else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.reversal import GeometryError
    from bench.geometry.runner_play import fit_uncertainty, runner_fit

    caliper = evidence.gear.caliper
    # one width: half a count and its own repeatability, rectangular; what inside jaws show against outside
    # jaws is common to all stations
    noise = caliper.resolution / 2 / 3**0.5 * 2**0.5
    common = caliper.max_error / 3**0.5
    notes = ["Widths cannot see a bowed slot: side-play, measured on the saw, is the better number."]
    try:
        runners, slots = _pairs(evidence)
        fit = runner_fit(runners, slots)
        at_yaw = _where(fit.positions, "yaw_play", fit.yaw_play, fit.tightest.at)
        around = fit_uncertainty(
            runners, slots, at_yaw, width_noise=noise, common_noise=common, offset_noise=common
        )
        at_tight = fit_uncertainty(
            runners, slots, fit.tightest.at, width_noise=noise, common_noise=common, offset_noise=common
        )
    except GeometryError as error:
        raise EvidenceError(str(error)) from error
    confidence = 0.99 if evidence.known.looks else 0.95
    quantities: list[Quantity] = []
    budget: list[BudgetRow] = []
    for name, value, u in (
        ("yaw-play", fit.yaw_play, around.yaw_play),
        ("side-play", fit.side_play, around.side_play),
        ("relief", fit.relief, at_tight.relief),
    ):
        if value is None:
            notes.append(f"Nothing bounds the {name} with these stations: measure more of them.")
            continue
        rows = _add(quantities, name, float(value), float(u or 0.0), confidence)
        budget = budget or rows
    if fit.relief > 0:
        where = f" from {fit.tight[0]:.0f} to {fit.tight[1]:.0f} mm" if fit.tight else ""
        notes.append(f"Tight{where}: take {fit.relief:.2f} mm off in all.")
    elif fit.side_play is not None and fit.side_play < BINDS:
        notes.append(
            f"It fits with {fit.side_play:.2f} mm to spare in all; under {BINDS} mm it is likely to bind."
        )
    elif fit.side_play is not None and fit.side_play > LOOSE:
        notes.append(
            f"Loose: {fit.side_play:.2f} mm in all. Lean the sled on one wall for every cut, or shim."
        )
    if not fit.whole:
        notes.append(
            "The runner is longer than the slot: the figures are for the places with most of it inside."
        )
    jig = evidence.gear.jig
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        confidence=confidence,
        budget=budget,
        positions=[
            Position(
                at=float(p.at),
                yaw_play=None if p.yaw_play is None else float(p.yaw_play),
                side_play=None if p.side_play is None else float(p.side_play),
                relief=float(p.relief),
            )
            for p in fit.positions
        ],
        notes=notes,
    )


def _pairs(evidence: Evidence) -> tuple[list[Widths], list[Widths]]:
    """Runners and the slots they run in; a second pair moved by what its spacing differs from the mean."""
    from bench.geometry.runner_play import Widths

    read: dict[str, tuple[list[float], list[float]]] = {}
    for trace in evidence.traces:
        stations, widths = read.setdefault(trace.placement, ([], []))
        stations.extend(trace.travel)
        widths.extend(trace.reading)
    sides = [side for side in ("left", "right") if f"runner-{side}" in read]
    if not sides:
        raise EvidenceError("no runner was measured: runner-left or runner-right")
    for side in sides:
        if f"slot-{side}" not in read:
            raise EvidenceError(f"runner-{side} was measured but not slot-{side}")
    runners = [Widths(*_averaged(*read[f"runner-{side}"])) for side in sides]
    slots = [Widths(*_averaged(*read[f"slot-{side}"])) for side in sides]
    if len(sides) == 2:
        for name in ("slot-spacing", "runner-spacing"):
            if name not in read:
                raise EvidenceError(f"with two runners {name} is wanted too, centre to centre")
        spacing_at, spacing = _averaged(*read["runner-spacing"])
        middle = sum(spacing) / len(spacing)
        runners[1] = runners[1].shifted(spacing_at, [s - middle for s in spacing])
        spacing_at, spacing = _averaged(*read["slot-spacing"])
        slots[1] = slots[1].shifted(spacing_at, [s - middle for s in spacing])
    return runners, slots


def _averaged(stations: list[float], widths: list[float]) -> tuple[list[float], list[float]]:
    """Several widths at one station count as their mean."""
    at: dict[float, list[float]] = {}
    for station, width in zip(stations, widths, strict=True):
        at.setdefault(round(station, 6), []).append(width)
    places = sorted(at)
    return places, [sum(at[s]) / len(at[s]) for s in places]


def _where(positions: object, name: str, value: float | None, default: float) -> float:
    assert isinstance(positions, tuple)
    for p in positions:
        found = getattr(p, name)
        if value is not None and found is not None and abs(found - value) < 1e-12:
            return float(p.at)
    return default


def _add(
    quantities: list[Quantity],
    name: Literal["yaw-play", "side-play", "relief"] | str,
    value: float,
    u: float,
    confidence: float,
) -> list[BudgetRow]:
    from bench.uncertainty import Part, combine

    combined = combine([Part("caliper", "B", u)], confidence)
    quantities.append(
        Quantity(
            name,
            value,
            "rad" if name == "yaw-play" else "mm",
            combined.expanded,
            combined.degrees_of_freedom,
            way="binds" if name == "relief" and value > 0 else None,
        )
    )
    return combined.rows


KIND = "runner-fit"

CHECK = Check(
    kind=KIND,
    question="Do the runners fit their slots?",
    plan=plan,
    evaluate=evaluate,
    quantities=("yaw-play", "side-play", "relief"),
    cautions=(UNPLUG, BLADE_DOWN, COUNT_OFF, MANUAL),
    options=(
        Option("runner", "choice", "Which runner and slot are measured live", "left", ("left", "right")),
        Option("stations", "count", "How many marks along slot and runner"),
    ),
    needs=("jig", "caliper"),
    columns=("what", "station", "width"),
    accepts=accepts,
)
