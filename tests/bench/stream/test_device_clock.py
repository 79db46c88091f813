"""A device's clock in the time of this machine, against devices, cables and busy machines whose truth is known."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.stream import device_clock
from bench.stream.device_clock import LATEST_LINE_S, MODULO, DeviceClock

WAY = 0.0012  # s, the shortest way of a line


def line_times(
    seed: int, *, skew: float = 0.0, seconds: float = 30.0, rate: float = 100.0, busy: float = 0.02
) -> list[tuple[float, int, float]]:
    """(true s, device us not wrapped, arrival): most lines come after a few ms, some with whole blocks after `busy`."""
    draw = random.Random(seed)
    out, free = [], 0.0
    for n in range(int(seconds * rate)):
        true = 1000.0 + n / rate
        way = WAY + draw.expovariate(1 / 0.003) + (draw.uniform(0, busy) if draw.random() < 0.05 else 0.0)
        free = max(free, true + way)  # a line never overtakes another
        out.append((true, round(n / rate * (1 + skew) * 1e6) + 7_000_000, free))
    return out


@pytest.mark.parametrize("skew", [0.0, 1e-4, -1e-4, 0.005, -0.005])
@pytest.mark.parametrize("seed", range(3))
def test_jitter_and_skew_are_taken_off(seed: int, skew: float) -> None:
    """After the first seconds: milliseconds of jitter become a fraction of one, whatever the device's clock does."""
    clock = DeviceClock()
    late, off = [], []
    for true, us, arrived in line_times(seed, skew=skew):
        placed = clock.place(us % MODULO, arrived)
        assert placed <= arrived
        if true > 1008.0:
            late.append(arrived - true - WAY)
            off.append(placed - true - WAY)
    assert max(late) > 0.015
    assert min(off) > -0.001 and max(off) < 0.001
    assert sum(map(abs, off)) < 0.1 * sum(late)
    assert clock.restarts == 0


@given(st.integers(0, MODULO - 1), st.integers(0, 1000))
def test_where_the_clock_wraps_does_not_matter(start: int, seed: int) -> None:
    plain, wrapped = DeviceClock(), DeviceClock()
    for _, us, arrived in line_times(seed, seconds=3.0):
        assert wrapped.place((us + start) % MODULO, arrived) == pytest.approx(
            plain.place(us, arrived), abs=2e-6
        )
    assert wrapped.restarts == 0


def test_it_wraps_again_and_again() -> None:
    """A modulus of one second stands for days of the real one."""
    clock, plain = DeviceClock(1_000_000 * 8), DeviceClock(1 << 60)
    for _, us, arrived in line_times(5, seconds=60.0, rate=20.0):
        assert clock.place(us % 8_000_000, arrived) == pytest.approx(plain.place(us, arrived), abs=1e-6)
    assert clock.restarts == 0


@pytest.mark.parametrize("silent", [0.0, 30.0, 5000.0, 90_000.0])
def test_after_a_silence_of_any_length_it_goes_on(silent: float) -> None:
    """Also one of several wraps: how many there were is told by this machine's clock, where the skew allows it."""
    clock = DeviceClock()
    lines = line_times(2, seconds=10.0)
    for _, us, arrived in lines:
        clock.place(us % MODULO, arrived)
    for true, us, arrived in lines:
        placed = clock.place((us + round((silent + 10.0) * 1e6)) % MODULO, arrived + silent + 10.0)
        assert placed == pytest.approx(true + silent + 10.0, abs=0.05)
    assert clock.restarts == 0


@given(st.integers(0, 100), st.integers(0, MODULO - 1), st.floats(0.0, 100.0))
def test_a_device_that_begins_anew_costs_no_wrong_time(seed: int, first: int, away: float) -> None:
    clock = DeviceClock()
    lines = line_times(seed, seconds=4.0)
    for _, us, arrived in lines:
        clock.place(us, arrived)
    for true, us, arrived in lines:
        at = arrived + 4.0 + away
        placed = clock.place((us + first) % MODULO, at)
        assert at - LATEST_LINE_S <= placed <= at
        del true


def test_the_reset_button_is_seen() -> None:
    clock = DeviceClock()
    lines = line_times(1, seconds=20.0)
    for _, us, arrived in lines:
        clock.place(us, arrived)
    for true, us, arrived in lines:
        placed = clock.place(us - 7_000_000, arrived + 21.5)  # it counts from 0 again
        assert placed == pytest.approx(true + 21.5, abs=0.06)
    assert clock.restarts == 1
    clock.restart()
    assert clock.place(5, 99.0) == 99.0
    assert clock.restarts == 2


def test_a_gauges_frame_that_began_before_the_last_line_of_the_travel() -> None:
    """Its time is that of its first bit, a tenth of a second before it is told: older than what was told meanwhile."""
    clock = DeviceClock()
    for n in range(1000):
        now = 50.0 + n * 0.01
        travel = clock.place(round(now * 1e6), now + 0.001)
        if n % 12 == 11:
            gauge = clock.place(round((now - 0.1) * 1e6), now + 0.002)
            assert travel - gauge == pytest.approx(0.1, abs=1e-4)


@given(
    st.lists(
        st.tuples(st.integers(0, MODULO - 1), st.floats(0.0, 1e5, allow_nan=False)),
        min_size=1,
        max_size=60,
    )
)
def test_whatever_comes_is_placed_between_latest_and_now(lines: list[tuple[int, float]]) -> None:
    clock, now = DeviceClock(), 0.0
    for us, gap in lines:
        now += gap
        assert now - LATEST_LINE_S - 1e-6 <= clock.place(us, now) <= now


@given(
    st.lists(st.tuples(st.floats(0, 10), st.floats(-1, 1)), min_size=1, max_size=16, unique_by=lambda p: p[0])
)
def test_the_line_lies_below_all_points_and_touches_one(points: list[tuple[float, float]]) -> None:
    x0, y0, slope = device_clock._lowest_line(sorted(points))
    above = [y - (y0 + slope * (x - x0)) for x, y in points]
    assert min(above) == pytest.approx(0.0, abs=1e-9)
    assert abs(slope) <= device_clock.WORST


@pytest.mark.ci  # scipy.optimize takes half a second to import
@given(
    st.lists(
        st.tuples(st.integers(0, 50), st.floats(0, 0.02)), min_size=2, max_size=16, unique_by=lambda p: p[0]
    )
)
def test_it_is_the_linear_programmes_line(points: list[tuple[int, float]]) -> None:
    """Least sum of heights above a line below all of them, slope bounded: scipy's linear programme."""
    from scipy.optimize import linprog

    x, y = [float(a) for a, _ in points], [b for _, b in points]
    x0, y0, slope = device_clock._lowest_line(sorted(zip(x, y, strict=True)))
    worst = 1e6 * device_clock.WORST
    found = linprog(  # in us: its own tolerance is 1e-7
        [-len(x), -sum(x)],
        A_ub=[[1.0, a] for a in x],
        b_ub=[1e6 * b for b in y],
        bounds=[(None, None), (-worst, worst)],
        method="highs",
    )
    ours = sum(1e6 * (b - (y0 + slope * (a - x0))) for a, b in zip(x, y, strict=True))
    assert ours == pytest.approx(sum(1e6 * b for b in y) + found.fun, abs=1e-3)
