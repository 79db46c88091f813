"""Figures of a stream of readings: rate, fastest push, and noise at rest."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from itertools import pairwise

from bench.doctor.diagnostic import Diagnostic, ListeningOptions, diagnosis
from bench.units import System, length_words

USUAL_PUSH = 40.0  # mm/s, a gentle push; common practice, no source
# mm/s; nobody pushes evenly for half a minute, a sled's length at this speed; common
# practice, no source
SLOWEST_PUSH = 10.0
PUSH_ADVICE = (
    "push slower; or allow a wider spacing (--spacing); or work with marks: leave"
    " [travel] out of the settings"
)
MOVES = 6.0  # drift over the whole, in noises, from which on it is a movement
FEWEST_FOR_NOISE = 8  # readings from which the noise is worked out
SAME_MM = 1e-7  # mm; a smaller change is the rounding of the numbers


def rate_of(stamps: Sequence[float]) -> float | None:
    """Readings a second from their arrivals, s; None for fewer than three."""
    if len(stamps) < 3 or stamps[-1] <= stamps[0]:
        return None
    return (len(stamps) - 1) / (stamps[-1] - stamps[0])


def stream_figures(
    name: str,
    rate: float | None,
    values: Sequence[float],
    options: ListeningOptions,
    *,
    swept: bool = True,
) -> Iterator[Diagnostic]:
    """What the readings (mm) of a few seconds show. rate: readings a second.

    swept: it is read while a sled is pushed, not at marks.
    """
    if rate and (swept or options.spacing_named):
        yield _fastest_push(name, rate, options, swept=swept)
    elif rate:
        yield diagnosis(name, "rate", rate=rate, figures={"rate": round(rate, 3)})
    if len(values) >= FEWEST_FOR_NOISE:
        yield _noise(name, values, options.units)


def _fastest_push(
    name: str, rate: float, options: ListeningOptions, *, swept: bool
) -> Diagnostic:
    spacing, units = options.spacing, options.units
    fastest = rate * spacing
    words = (
        f"{rate:.1f} readings a second: for one every {length_words(spacing, units)}"
        f" push no faster than {_speed(fastest, units)} a second"
    )
    figures = {
        "rate": round(rate, 3),
        "spacing": spacing,
        "fastest_push": round(fastest, 3),
    }
    if not swept:
        words += "; at marks it is not pushed past"
        return diagnosis(name, "push-limit-marks", words=words, figures=figures)
    code = "push-limit-low" if fastest < SLOWEST_PUSH else "push-limit"
    advice = PUSH_ADVICE if fastest < USUAL_PUSH else ""
    return diagnosis(name, code, words=words, advice=advice, figures=figures)


def _noise(name: str, values: Sequence[float], units: System) -> Diagnostic:
    noise, step, drift = at_rest(values)
    if drift > MOVES * max(noise, step):
        return diagnosis(name, "moved", drift=length_words(drift, units))
    words = "at rest it does not change at all"
    if noise:
        scatter = length_words(noise, units, 5 if noise < 0.001 else None)
        words = f"at rest it scatters by {scatter} (one standard deviation)"
        words += f", in steps of {length_words(step, units)}" if step else ""
    return diagnosis(
        name,
        "noise",
        words=words,
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
    changes = [abs(step) for step in steps if abs(step) > SAME_MM]
    third = max(1, len(values) // 3)
    drift = abs(statistics.fmean(values[-third:]) - statistics.fmean(values[:third]))
    return noise, min(changes, default=0.0), drift
