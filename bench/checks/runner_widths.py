"""From caliper widths to runners in slots, and what the caliper's errors do to their play.

May import: bench.checks.model; numpy and bench.geometry inside functions only. mm and rad.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bench.checks.model import EvidenceError, Trace
from bench.gear import Caliper

if TYPE_CHECKING:
    from bench.geometry.runner_play import Fit, RunnerFit, Widths

SIDES = ("left", "right")
WHAT = ("slot-left", "slot-right", "runner-left", "runner-right", "slot-spacing", "runner-spacing")
COPIES = 40  # with errors added: a standard deviation is then known to a ninth
TRIED = 4  # positions of each kind that may become the largest or the tightest
ENOUGH_REPEATS = 5  # degrees of freedom from which repeated widths speak for themselves
HELD = (
    0.5  # of the caliper's limit, half-width: how differently one width is felt; common practice, no source
)


@dataclass(frozen=True, slots=True)
class Measured:
    """One or two runners and their slots, left first. runner_length: mm, of the longest.

    reading: standard uncertainty of one station's width, mm, with its degrees of freedom (None: infinite).
    jaws: of what inside jaws show more than outside jaws, mm. spacing: of one spacing less the other, mm;
    0 with one runner.
    """

    runners: list[Widths]
    slots: list[Widths]
    sides: tuple[str, ...]
    runner_length: float
    reading: float
    reading_dof: float | None
    jaws: float
    spacing: float


@dataclass(frozen=True, slots=True)
class Effect:
    """Standard uncertainties that one kind of error gives the headline: rad, mm, mm."""

    yaw_play: float
    side_play: float
    relief: float


def measured(traces: Sequence[Trace], caliper: Caliper) -> Measured:
    """Raises EvidenceError where something is missing, GeometryError where widths cannot be."""
    import numpy as np

    from bench.geometry.runner_play import Widths

    read: dict[str, tuple[list[float], list[float]]] = {}
    for trace in traces:
        stations, widths = read.setdefault(trace.placement, ([], []))
        stations.extend(trace.travel)
        widths.extend(trace.reading)
    sides = tuple(s for s in SIDES if f"runner-{s}" in read)
    if not sides:
        raise EvidenceError("no runner was measured (runner-left or runner-right)")
    for side in sides:
        for what in ("slot", "runner"):
            name = f"{what}-{side}"
            if name not in read:
                raise EvidenceError(f"runner-{side} was measured, but not {name}")
            if len({round(s, 6) for s in read[name][0]}) < 2:
                raise EvidenceError(
                    f"{name} has widths at one place only: measure it at both ends at least, better at five places"
                )
    if len(sides) == 2:
        for name in ("slot-spacing", "runner-spacing"):
            if name not in read:
                raise EvidenceError(
                    f"with two runners {name} is wanted too, centre to centre; or give one runner and its slot"
                )
    averaged = {name: _averaged(*columns) for name, columns in read.items()}
    runners = [Widths(*averaged[f"runner-{s}"]) for s in sides]
    slots = [Widths(*averaged[f"slot-{s}"]) for s in sides]
    if len(sides) == 2:
        middle = float(np.mean(averaged["runner-spacing"][1]))
        for name, bodies in (("runner-spacing", runners), ("slot-spacing", slots)):
            places, apart = averaged[name]
            bodies[1] = bodies[1].shifted(places, [a - middle for a in apart])
    used = [f"{what}-{s}" for what in ("slot", "runner") for s in sides]
    reading, dof = _reading_noise([read[name] for name in used], caliper)
    limit = caliper.max_error / math.sqrt(3.0)
    return Measured(
        runners,
        slots,
        sides,
        max(float(np.ptp(r.s)) for r in runners),
        reading,
        dof,
        limit * math.sqrt(2.0),
        limit * math.sqrt(2.0) if len(sides) == 2 else 0.0,
    )


def _averaged(stations: Sequence[float], widths: Sequence[float]) -> tuple[list[float], list[float]]:
    """Several widths at one station count as their mean."""
    at: dict[float, list[float]] = {}
    for station, width in zip(stations, widths, strict=True):
        at.setdefault(round(station, 6), []).append(width)
    places = sorted(at)
    return places, [math.fsum(at[s]) / len(at[s]) for s in places]


def _reading_noise(
    columns: Sequence[tuple[list[float], list[float]]], caliper: Caliper
) -> tuple[float, float | None]:
    """Of one station's width: the count, and how it is felt, from repeats where there are enough of them."""
    squares, freedom, stations, readings = 0.0, 0, 0, 0
    for places, widths in columns:
        at: dict[float, list[float]] = {}
        for place, width in zip(places, widths, strict=True):
            at.setdefault(round(place, 6), []).append(width)
        for found in at.values():
            mean = math.fsum(found) / len(found)
            squares += math.fsum((w - mean) ** 2 for w in found)
            freedom += len(found) - 1
        stations += len(at)
        readings += len(widths)
    count = caliper.resolution / math.sqrt(12.0)
    felt = HELD * caliper.max_error / math.sqrt(3.0)
    dof: float | None = None
    if freedom >= ENOUGH_REPEATS:
        felt, dof = math.sqrt(squares / freedom), float(freedom)
    elif freedom > 0:
        felt = max(felt, math.sqrt(squares / freedom))
    return math.hypot(count, felt) / math.sqrt(readings / stations), dof


Plays = tuple[float, float, float]


def headline(fits: Sequence[Fit], whole: set[float], length: float) -> Plays:
    """Largest yaw and side play over the positions in `whole`, largest relief over all of them; rad, mm, mm.

    None of them stops at 0 here: where it binds play goes on below it, by the relief that is wanting (and its turn
    over the runner's `length`), and where it fits relief does, by what is to spare. An error of the widths moves
    them there as it does above, which a 0 would hide.
    """
    inside = [f for f in fits if f.at in whole]
    yaws = [-2.0 * f.relief / length if f.relief > 0.0 else f.yaw_play for f in inside]
    plays = [tightness(f) for f in inside]
    return (
        max((y for y in yaws if y is not None), default=0.0),
        max((p for p in plays if math.isfinite(p)), default=0.0),
        -min((tightness(f) for f in fits if math.isfinite(tightness(f))), default=0.0),
    )


def effects(found: Measured, fit: RunnerFit) -> dict[str, Effect]:
    """What each kind of error alone does to the headline, by copies with errors added (JCGM 101:2008).

    Play bends where another station begins to touch, so neither slope nor sign of an error tells enough: the
    scatter of the copies counts, and how far their mean lies off.
    """
    whole = full_positions(found, fit)
    tried = _worth_trying(fit, whole)
    value = headline([f for f in fit.positions if f.at in tried], whole, found.runner_length)
    kinds = {
        "widths as read": (found.reading, 0.0, 0.0),
        "inside against outside jaws": (0.0, found.jaws, 0.0),
        "spacing": (0.0, 0.0, found.spacing),
    }
    return {
        name: _effect(found, sorted(tried), whole, value, *sizes)
        for name, sizes in kinds.items()
        if any(sizes)
    }


def full_positions(found: Measured, fit: RunnerFit) -> set[float]:
    """Places with the whole runner in the slot; where it is longer, those with the most of it inside."""
    inside = {
        f.at: sum(
            max(0.0, min(f.at + float(r.s[-1]), float(s.s[-1])) - max(f.at + float(r.s[0]), float(s.s[0])))
            for r, s in zip(found.runners, found.slots, strict=True)
        )
        for f in fit.positions
    }
    most = max(inside.values())
    return {at for at, length in inside.items() if length >= most - 1e-6}


def _worth_trying(fit: RunnerFit, whole: set[float]) -> set[float]:
    full = [f for f in fit.positions if f.at in whole]
    by_yaw = sorted(full, key=lambda f: -(f.yaw_play or 0.0))
    by_side = sorted(full, key=lambda f: -(f.side_play or 0.0))
    tight = sorted(fit.positions, key=tightness)
    return {f.at for some in (by_yaw, by_side, tight) for f in some[:TRIED]}


def tightness(fit: Fit) -> float:
    """Clearance that is left, mm, negative where it binds; infinite where nothing bounds it."""
    if fit.relief > 0.0:
        return -fit.relief
    return math.inf if fit.side_play is None else fit.side_play


def _effect(
    found: Measured,
    tried: Sequence[float],
    whole: set[float],
    value: Plays,
    reading: float,
    jaws: float,
    spacing: float,
) -> Effect:
    import numpy as np

    from bench.geometry.runner_play import Widths, fit_at

    rng = np.random.default_rng(20080101)
    copies = []
    for _ in range(COPIES):
        common, offset = jaws * rng.standard_normal(), spacing * rng.standard_normal()
        runners = [
            Widths(r.s, np.maximum(r.w + reading * rng.standard_normal(r.w.size), 1e-6), r.c)
            for r in found.runners
        ]
        slots = [
            Widths(
                s.s,
                np.maximum(s.w + common + reading * rng.standard_normal(s.w.size), 1e-6),
                s.c + (offset if number else 0.0),
            )
            for number, s in enumerate(found.slots)
        ]
        copies.append(headline([fit_at(runners, slots, at) for at in tried], whole, found.runner_length))
    return Effect(*(_scatter([c[k] for c in copies], value[k]) for k in range(3)))


def _scatter(copies: Sequence[float], value: float) -> float:
    mean = math.fsum(copies) / len(copies)
    variance = math.fsum((c - mean) ** 2 for c in copies) / (len(copies) - 1)
    return math.hypot(math.sqrt(variance), mean - value)
