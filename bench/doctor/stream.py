"""Figures of a stream of readings: how many a second, how fast one may push, how still
it is at rest.

Pure.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from itertools import pairwise

from bench.doctor.matter import Matter, fault, told
from bench.units import System, length_words

USUAL_PUSH = 40.0  # mm/s, a gentle push; common practice, no source
SLOWEST_PUSH = (
    # mm/s; slower, half a minute for a sled's length, nobody pushes evenly; common
    # practice, no source
    10.0
)
MOVES = 6.0  # a drift over the whole of more than so many noises is a movement
FEWEST = 8  # readings, to say anything of noise
EPS = 1e-7


def rate_of(stamps: Sequence[float]) -> float | None:
    """Readings a second from their arrivals, s; None for fewer than three."""
    if len(stamps) < 3 or stamps[-1] <= stamps[0]:
        return None
    return (len(stamps) - 1) / (stamps[-1] - stamps[0])


def stream(
    name: str,
    rate: float | None,
    values: Sequence[float],
    spacing: float,
    units: System,
    *,
    swept: bool = True,
    asked: bool = False,
) -> Iterator[Matter]:
    """What the readings (mm) of a few seconds say.

    swept: it is read while a sled is pushed, not at marks. asked: the user named the
    spacing and wants to be answered.
    """
    if rate and (swept or asked):
        fastest = rate * spacing
        words = (
            f"{rate:.1f} readings a second: for one every"
            f" {length_words(spacing, units)} of travel push no faster than"
            f" {_speed(fastest, units)} a second"
        )
        figures = {
            "rate": round(rate, 3),
            "spacing": spacing,
            "fastest_push": round(fastest, 3),
        }
        ways = (
            "push slower; or allow a wider spacing (--spacing); or work with marks:"
            " leave [travel] out of the settings"
        )
        if not swept:
            yield told(
                name, words + "; at marks it is not pushed past", figures=figures
            )
        elif fastest < SLOWEST_PUSH:
            yield fault(name, words, ways, figures=figures)
        else:
            yield told(
                name, words, ways if fastest < USUAL_PUSH else "", figures=figures
            )
    elif rate:
        yield told(
            name, f"{rate:.1f} readings a second", figures={"rate": round(rate, 3)}
        )
    if len(values) < FEWEST:
        return
    noise, step, drift = at_rest(values)
    if drift > MOVES * max(noise, step):
        yield told(
            name,
            f"it moved by {length_words(drift, units)} meanwhile: its noise is told at"
            " rest",
        )
        return
    seen = f", in steps of {length_words(step, units)}" if step else ""
    scatter = (
        f"it scatters by {length_words(noise, units, 5 if noise < 0.001 else None)}"
        " (one standard deviation)"
    )
    yield told(
        name,
        f"at rest {scatter}{seen}" if noise else "at rest it does not change at all",
        figures={"noise": round(noise, 6), "step": round(step, 6)},
    )


def _speed(mm: float, units: System) -> str:
    """Two digits are enough for a hand."""
    size = mm / 25.4 if units == "inch" else mm
    return (
        f"{size:{'.2g' if size < 99.5 else '.0f'}} {'in' if units == 'inch' else 'mm'}"
    )


def at_rest(values: Sequence[float]) -> tuple[float, float, float]:
    """Noise (one standard deviation), smallest step seen, drift from the first third to
    the last; mm.

    The noise is from differences of neighbours, so that a slow drift is not taken for
    it: their standard deviation is that of one reading times the root of two.
    """
    steps = [b - a for a, b in pairwise(values)]
    noise = statistics.fmean(step * step for step in steps) ** 0.5 / 2**0.5
    changes = [abs(step) for step in steps if abs(step) > EPS]
    third = max(1, len(values) // 3)
    drift = abs(statistics.fmean(values[-third:]) - statistics.fmean(values[:third]))
    return noise, min(changes, default=0.0), drift
