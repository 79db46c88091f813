"""Side and yaw play from leaned and twisted readings, against scipy's Welch test and a body in a slot."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.play import side_play, yaw_play
from bench.geometry.runner_play import Widths, fit_at

readings = st.lists(st.integers(-500, 500), min_size=2, max_size=8).map(lambda v: [i / 1000 for i in v])


@pytest.mark.ci  # the import alone takes a second
@given(readings, readings)
def test_difference_error_and_degrees_of_freedom_agree_with_a_welch_test(left, right):
    from scipy.stats import ttest_ind

    found = side_play(left, right)
    assert found.value == pytest.approx(np.mean(right) - np.mean(left), abs=1e-12)
    if np.ptp(left) > 0 and np.ptp(right) > 0:
        other = ttest_ind(right, left, equal_var=False)
        assert found.value / found.standard_uncertainty == pytest.approx(other.statistic, abs=1e-7)
        assert found.degrees_of_freedom == pytest.approx(other.df)


def test_a_twisted_body_in_its_slot_shows_its_yaw_play_at_any_place_beyond_its_end():
    """The runner of runner-fit: 500 long, clearance 0.1; twisted it swings 2 c |v| / Lr at v."""
    yaw = fit_at([Widths([0.0, 500.0], [19.0, 19.0])], [Widths([0.0, 700.0], [19.1, 19.1])], 100.0).yaw
    for place in (-400.0, -250.0, 300.0):
        swings = [-t * place for t in yaw]  # the middle stays in the middle, X falls along +Y as yaw grows
        found = yaw_play([swings[1]] * 2, [swings[0]] * 2, place)
        assert found.value == pytest.approx(0.0004)
        assert abs(swings[1] - swings[0]) == pytest.approx(2 * 0.1 * abs(place) / 500.0)


def test_a_swapped_pair_shows_as_a_play_below_zero():
    assert side_play([0.1, 0.11], [0.0, 0.01]).value == pytest.approx(-0.1)


@given(readings, readings, st.floats(50.0, 500.0), st.floats(-1.0, 1.0))
def test_zero_and_side_of_the_twist_do_not_matter(left, right, place, zero):
    plain = yaw_play(left, right, place)
    moved = yaw_play([v + zero for v in left], [v + zero for v in right], -place)
    swapped = yaw_play(right, left, place)
    assert moved.value == pytest.approx(plain.value, abs=1e-12)
    assert swapped.value == pytest.approx(plain.value)
    assert plain.value >= 0.0
    assert plain.value * place == pytest.approx(abs(side_play(left, right).value), abs=1e-12)


def test_a_place_not_well_known_widens_the_yaw():
    sharp = yaw_play([0.0, 0.002], [0.1, 0.102], 250.0)
    loose = yaw_play([0.0, 0.002], [0.1, 0.102], 250.0, place_uncertainty=5.0)
    assert loose.standard_uncertainty == sharp.standard_uncertainty
    assert (sharp.place_uncertainty, loose.place_uncertainty) == (
        0.0,
        pytest.approx(sharp.value * 5.0 / 250.0),
    )


def test_nearer_than_half_a_runner_the_lever_lies_between_twisted_and_leaned():
    """A runner of 500 with 0.1 of clearance: 0.4 mrad, whether read at 150 it is twisted only or pressed to a wall."""
    clearance, length, at = 0.1, 500.0, 150.0
    yaw = 2 * clearance / length
    for swing in (
        yaw * at,
        clearance,
    ):  # twisted about the middle; pressed at that place, it goes to the wall
        found = yaw_play([0.0] * 2, [swing] * 2, at, length)
        half = found.lever_uncertainty * np.sqrt(3)
        assert abs(found.value - yaw) <= half * (1 + 1e-9)
        assert found.lever == pytest.approx(swing / found.value)
    assert yaw_play([0.0] * 2, [yaw * 260.0] * 2, 260.0, length).lever_uncertainty == 0.0


def test_single_readings():
    assert side_play([0.0], [0.1]).standard_uncertainty is None
    assert yaw_play([0.0], [0.1], 250.0).standard_uncertainty is None
    one = side_play([0.0], [0.1, 0.102, 0.104])
    assert one.standard_uncertainty == pytest.approx(0.002 * np.sqrt(1 + 1 / 3))
    assert one.degrees_of_freedom == 2
    still = side_play([0.0, 0.0], [0.1, 0.1])
    assert still.standard_uncertainty == 0.0 and still.degrees_of_freedom == float("inf")
