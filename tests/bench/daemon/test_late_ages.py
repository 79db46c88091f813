"""Two instruments whose readings come late by different ages: told in the settings, a pass pairs what belongs together."""

from __future__ import annotations

import math

import pytest

from bench.daemon.acquisition import Batch, Instrument
from bench.settings.settings_file import PortSettings
from bench.stream.sweep_detector import MovementEnd, Sweep, SweepDetector

INDICATOR_AGE, TRAVEL_AGE = 0.18, 0.04  # s: a slow display, a quick scale


def position(t: float) -> float:
    """A second of rest, a push of 150 mm in a second on the minimum-jerk path (Flash and Hogan 1985, eq. 3), rest."""
    x = min(1.0, max(0.0, t - 1.0))
    return 150.0 * x**3 * (10 - 15 * x + 6 * x * x)


def surface(s: float) -> float:
    """Out of square, with a wave that shows any shift along the travel."""
    return 2.0 + 3e-4 * s + 0.02 * math.sin(s / 8.0)


def swept(indicator_late: float, travel_late: float) -> Sweep:
    """The pass as the daemon pairs it; lines come when they come, each as old as its instrument makes it."""
    detector, ended = SweepDetector(), []

    def heard(instrument: Instrument, batch: Batch) -> None:
        take = detector.indicator if instrument.name == "indicator" else detector.travel
        ended.extend(what for what in take(batch.stamps, batch.values) if isinstance(what, MovementEnd))

    def make(role: str, late: float) -> Instrument:
        settings = PortSettings(port="/dev/null", late=late, options={"at_open": False})
        return Instrument(role, settings, heard, lambda _: None)  # type: ignore[arg-type]

    indicator, travel = make("indicator", indicator_late), make("travel", travel_late)
    for n in range(320):
        now = 0.01 * n
        when = round((100.0 + now) * 1e9)
        travel._block(b"%+.3f mm\r\n" % position(now - TRAVEL_AGE), when)
        indicator._block(b"%+.4f mm\r\n" % surface(position(now - INDICATOR_AGE)), when + 1_000_000)
    assert len(ended) == 1
    (sweep,) = ended[0].sweeps
    return sweep


def worst(sweep: Sweep) -> float:
    """mm from the surface, over the pass."""
    return max(abs(r - surface(s)) for s, r in zip(sweep.travel, sweep.reading, strict=True))


def test_told_ages_pair_what_belongs_together() -> None:
    told = swept(INDICATOR_AGE, TRAVEL_AGE)
    assert len(told.reading) > 80
    assert worst(told) < 0.0015  # a millisecond between the two lines, at 280 mm/s over a wave of 2.5e-3 a mm


def test_untold_they_do_not() -> None:
    assert worst(swept(0.0, 0.0)) > 0.02


@pytest.mark.parametrize("both", [0.0, 0.25])
def test_only_the_difference_counts(both: float) -> None:
    assert worst(swept(INDICATOR_AGE - TRAVEL_AGE + both, both)) < 0.0015
