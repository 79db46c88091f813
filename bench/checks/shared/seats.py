"""Seats of a square that stands beside a face: grit under it tilts all that is read on
that seat, and only seats that are made anew show by how much they differ.

Heights and readings in mm, slopes in rad.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

import msgspec

from bench.checks.model import Evidence, Trace
from bench.checks.shared.traces import spread_of
from bench.finding import Remark, note, warning
from bench.uncertainty.budget import SEAT, Part
from bench.uncertainty.sweeps import scatter_within
from bench.uncertainty.variance_components import SetUpScatter, between_set_ups

FEWEST_READINGS = 3  # on a seat: two heights, and one that shows the scatter
HEIGHTS_APART = 10.0  # mm between the heights, at least
# standard deviations of their difference by which two seats are remarked on
SEATS_APART = 3.0


Seat = Mapping[float, Sequence[float]]  # mm, readings by their height


def columns(seat: Seat) -> tuple[list[float], list[float]]:
    """Heights and readings."""
    pairs = [(height, reading) for height, some in seat.items() for reading in some]
    return [height for height, _ in pairs], [reading for _, reading in pairs]


def seats_of(evidence: Evidence, placement: str) -> list[Seat]:
    """What was read at a set-up, by seats: another begins where another set-up came
    between, or the file says so. Where one of them lacks a height all are one."""
    runs = groupby(evidence.traces, key=lambda trace: (trace.placement, trace.seat))
    seats = [_read(run) for (name, _), run in runs if name == placement]
    parts = all(
        spread_of(seat) >= HEIGHTS_APART and len(columns(seat)[0]) >= FEWEST_READINGS
        for seat in seats
    )
    return seats if parts else [_read(evidence.at(placement))]


def _read(traces: Iterable[Trace]) -> Seat:
    at: dict[float, list[float]] = {}
    for trace in traces:
        for height, reading in zip(trace.travel, trace.reading, strict=True):
            at.setdefault(height, []).append(reading)
    return at


def seat_row(
    evidence: Evidence, slopes: Mapping[str, list[float]], own: float, freedom: float
) -> tuple[Part, list[Remark]]:
    """The row of how far seats tilt the mean of all slopes: as usual, unless set-ups
    that were seated anew show more than that and the touches explain. What is said:
    where they differ; where none was seated anew, that grit would not show.

    slopes: by set-up, of each of its seats. own, freedom: variance of one of them from
    its touches, with its degrees of freedom.
    """
    squares, between = scatter_within(slopes.values())
    known, number = evidence.known.seat_scatter, sum(map(len, slopes.values()))
    usual = SEAT if known is None else known
    # as variances of a mean of two, as the square's error is
    shown = SetUpScatter(squares / max(between, 1) / 2, between, own / 2, freedom, 0)
    row = between_set_ups([1 / number] * number, None, shown, usual)
    limit = SEATS_APART * math.sqrt(2 * (usual**2 + own))
    apart = {name: spread_of(some) for name, some in slopes.items()}
    told = [
        warning("seats-apart", k, apart=by) for k, by in apart.items() if by > limit
    ]
    if not between and len(slopes) == 2:
        told.append(note("seated-once"))
    return msgspec.structs.replace(row, name="seat"), told
