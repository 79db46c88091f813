"""Runners and slots from caliper widths, and the effect of the caliper's errors on
their play.

mm and rad.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Trace
from bench.checks.shared.traces import columns_by_placement
from bench.finding import EvidenceError
from bench.gear import Caliper
from bench.uncertainty.sweeps import scatter_within

if TYPE_CHECKING:
    from bench.geometry.cells import Array
    from bench.geometry.runner_copies import Copies
    from bench.geometry.runner_play import PositionFit, RunnerFit, Widths

SIDES = ("left", "right")
MEASURED_BODIES = (
    "slot-left",
    "slot-right",
    "runner-left",
    "runner-right",
    "slot-spacing",
    "runner-spacing",
)
Plays = tuple[float, float, float]  # yaw play, side play, relief; rad, mm, mm
COPIES_OF_A_KIND = 60  # of each kind of error, in pairs
TRIED = 4  # positions of each kind that may become the largest or the tightest
ENOUGH_REPEATS = 5  # degrees of freedom from which repeated widths speak for themselves
# of the caliper's limit, half-width: how differently one width is felt; common
# practice, no source
HELD = 0.5


class RunnersAndSlots(msgspec.Struct, frozen=True):
    """One or two runners and their slots, left first. runner_length: mm, of the
    longest.

    reading: standard uncertainty of one station's width, mm, with its degrees of
    freedom (None: infinite). jaws: of what inside jaws show more than outside jaws, mm.
    spacing: of one spacing less the other, mm; 0 with one runner.
    """

    runners: list[Widths]
    slots: list[Widths]
    sides: tuple[str, ...]
    runner_length: float
    reading: float
    reading_dof: float | None
    jaws: float
    spacing: float


def runners_and_slots(traces: Sequence[Trace], caliper: Caliper) -> RunnersAndSlots:
    """Raises EvidenceError where something is missing, GeometryError where widths
    cannot be."""
    from bench.geometry.runner_play import Widths

    read = columns_by_placement(traces)  # stations and widths
    sides = _sides(read)
    at = {name: _at_stations(*columns) for name, columns in read.items()}
    # several widths at one station count as their mean
    means = {
        name: (list(found), [fmean(widths) for widths in found.values()])
        for name, found in at.items()
    }
    runners = [Widths(*means[f"runner-{s}"]) for s in sides]
    slots = [Widths(*means[f"slot-{s}"]) for s in sides]
    if len(sides) == 2:
        middle = fmean(means["runner-spacing"][1])
        for name, bodies in (("runner-spacing", runners), ("slot-spacing", slots)):
            places, apart = means[name]
            bodies[1] = bodies[1].shifted(places, [a - middle for a in apart])
    used = [f"{what}-{s}" for what in ("slot", "runner") for s in sides]
    reading, dof = _reading_noise([at[name] for name in used], caliper)
    limit = caliper.max_error / math.sqrt(3.0) * math.sqrt(2.0)
    return RunnersAndSlots(
        runners,
        slots,
        sides,
        max(float(r.s[-1] - r.s[0]) for r in runners),
        reading,
        dof,
        limit,
        limit if len(sides) == 2 else 0.0,
    )


def _sides(read: Mapping[str, tuple[list[float], list[float]]]) -> tuple[str, ...]:
    """The sides whose runners were measured. Raises EvidenceError where something is
    missing."""
    sides = tuple(s for s in SIDES if f"runner-{s}" in read)
    if not sides:
        raise EvidenceError("no runner was measured (runner-left or runner-right)")
    for name in (f"{what}-{side}" for side in sides for what in ("slot", "runner")):
        if name not in read:
            side = name.partition("-")[2]
            raise EvidenceError(f"runner-{side} was measured, but not {name}")
        if len({round(s, 6) for s in read[name][0]}) < 2:
            raise EvidenceError(
                f"{name} has widths at one place only: measure it at both ends at"
                " least, better at five places"
            )
    for name in ("slot-spacing", "runner-spacing"):
        if len(sides) == 2 and name not in read:
            raise EvidenceError(
                f"with two runners {name} is wanted too, centre to centre; or give"
                " one runner and its slot"
            )
    return sides


def _at_stations(
    stations: Sequence[float], widths: Sequence[float]
) -> dict[float, list[float]]:
    """The widths at each station, in the order of the stations."""
    at: dict[float, list[float]] = {}
    for station, width in sorted(zip(stations, widths, strict=True)):
        at.setdefault(round(station, 6), []).append(width)
    return at


def _reading_noise(
    columns: Sequence[dict[float, list[float]]], caliper: Caliper
) -> tuple[float, float | None]:
    """The noise of one station's width: the count, and how it is felt, from repeats
    where there are enough of them."""
    stations = [widths for column in columns for widths in column.values()]
    squares, freedom = scatter_within(stations)
    readings = len(stations) + freedom
    count = caliper.resolution / math.sqrt(12.0)
    felt = HELD * caliper.max_error / math.sqrt(3.0)
    dof: float | None = None
    if freedom >= ENOUGH_REPEATS:
        felt, dof = math.sqrt(squares / freedom), float(freedom)
    elif freedom > 0:
        felt = max(felt, math.sqrt(squares / freedom))
    return math.hypot(count, felt) / math.sqrt(readings / len(stations)), dof


def headline_plays(
    fits: Sequence[PositionFit], full: frozenset[float], length: float
) -> Plays:
    """Largest yaw and side play over the positions in `full`, largest relief over all
    of them; rad, mm, mm.

    None of them stops at 0 here: where it binds play goes on below it, by the relief
    that is wanting (and its turn over the runner's `length`), and where it fits relief
    does, by what is to spare. An error of the widths moves them there as it does above,
    which a 0 would hide.
    """
    inside = [f for f in fits if f.at in full]
    yaws = [-2.0 * f.relief / length if f.relief > 0.0 else f.yaw_play for f in inside]
    clearances = [f.clearance for f in fits if math.isfinite(f.clearance)]
    return (
        max((y for y in yaws if y is not None), default=0.0),
        max((f.clearance for f in inside if math.isfinite(f.clearance)), default=0.0),
        -min(clearances, default=0.0),
    )


def error_effects(found: RunnersAndSlots, fit: RunnerFit) -> dict[str, Plays]:
    """Standard uncertainty that each kind of error alone gives the headline, by copies
    with errors added (JCGM 101:2008).

    Play bends where another station begins to touch, so neither slope nor sign of an
    error tells enough: the scatter of the copies counts, and how far their mean lies
    off.
    """
    import numpy as np

    from bench.geometry.runner_copies import plays

    tried = sorted(_critical_positions(fit))
    value = headline_plays(
        [f for f in fit.positions if f.at in tried], fit.full, found.runner_length
    )
    kinds = {
        "widths as read": (found.reading, 0.0, 0.0),
        "inside against outside jaws": (0.0, found.jaws, 0.0),
        "spacing": (0.0, 0.0, found.spacing),
    }
    used = {name: sizes for name, sizes in kinds.items() if any(sizes)}
    if not used:
        return {}
    relief, yaw, side = plays(
        found.runners, found.slots, tried, _error_copies(found, list(used.values()))
    )
    tight = np.where(relief > 0.0, -relief, side)
    yaw = np.where(relief > 0.0, -2.0 * relief / found.runner_length, yaw)
    inside = np.array([at in fit.full for at in tried])
    headlines = (
        _largest_of_copies(yaw[inside]),
        _largest_of_copies(tight[inside]),
        _largest_of_copies(-tight),
    )
    found_by_kind = {}
    for number, name in enumerate(used):
        own = slice(number * COPIES_OF_A_KIND, (number + 1) * COPIES_OF_A_KIND)
        of_yaw, of_side, of_relief = (
            _scatter(row[own], value[k]) for k, row in enumerate(headlines)
        )
        found_by_kind[name] = (of_yaw, of_side, of_relief)
    return found_by_kind


def _largest_of_copies(values: Array) -> Array:
    """The largest of each copy over the positions that are bounded; 0 where none is."""
    import numpy as np

    known = np.where(np.isfinite(values), values, -np.inf).max(axis=0, initial=-np.inf)
    return np.where(np.isfinite(known), known, 0.0)


def _error_copies(
    found: RunnersAndSlots, kinds: Sequence[tuple[float, float, float]]
) -> Copies:
    """Copies for each kind of error (of one reading, of the jaws, of the spacing), one
    kind after the other."""
    import numpy as np

    from bench.geometry.runner_copies import Copies

    rng = np.random.default_rng(20080101)

    def errors(sizes: Array, columns: int) -> Array:
        """(copies, columns): each error beside its opposite, and scaled to its size
        exactly, so that so few copies tell a standard deviation as well as many times
        as many would."""
        half = rng.standard_normal((len(kinds), COPIES_OF_A_KIND // 2, columns))
        both = np.concatenate((half, -half), axis=1)
        both /= np.sqrt(np.mean(both**2, axis=1, keepdims=True))
        return np.asarray((sizes[:, None, None] * both).reshape(-1, columns))

    reading, jaws, spacing = np.asarray(kinds).T
    return Copies(
        [errors(reading, body.s.size) for body in found.runners],
        [errors(reading, body.s.size) for body in found.slots],
        errors(jaws, 1)[:, 0],
        errors(spacing, 1)[:, 0],
    )


def _critical_positions(fit: RunnerFit) -> set[float]:
    full = [f for f in fit.positions if f.at in fit.full]
    by_yaw = sorted(full, key=lambda f: -(f.yaw_play or 0.0))
    by_side = sorted(full, key=lambda f: -(f.side_play or 0.0))
    tight = sorted(fit.positions, key=lambda f: f.clearance)
    return {f.at for some in (by_yaw, by_side, tight) for f in some[:TRIED]}


def _scatter(copies: Array, value: float) -> float:
    """The scatter of copies with that of their mean about the value."""
    return math.hypot(float(copies.std(ddof=1)), float(copies.mean()) - value)
