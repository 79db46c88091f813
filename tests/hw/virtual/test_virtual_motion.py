"""Plans of motion: begin and end where they should, never turn back, can be asked for old instants."""

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hw.virtual.edge_profile import EdgeProfile
from hw.virtual.gauge import Gauge
from hw.virtual.motion import Leg, Pose, Timeline, stroke


@given(
    seed=st.integers(0, 10_000),
    length=st.floats(-400, 400).filter(lambda x: abs(x) > 0.05),
    speed=st.floats(5, 500),
)
def test_a_stroke_ends_where_it_should_and_never_turns_back(seed, length, speed):
    travel = stroke(Random(seed), 10.0, length, speed)
    assert travel.at(-1.0) == 10.0
    assert travel.at(travel.seconds + 1.0) == pytest.approx(10.0 + length)
    places = [travel.at(travel.seconds * n / 200.0) for n in range(201)]
    sign = 1.0 if length > 0 else -1.0
    assert all(sign * (after - before) >= -1e-9 for before, after in pairwise(places))
    assert places[-1] == pytest.approx(10.0 + length)


def test_a_timeline_answers_for_the_past():
    line = Timeline()
    travel = stroke(Random(1), 0.0, 100.0, 100.0, 0.0)
    line.add(Leg(10.0, 10.0 + travel.seconds, Pose(), Pose(100.0), travel))
    line.add(Leg(20.0, 20.0, Pose(100.0), Pose(100.0, 0.04)))
    assert line.at(9.0) == Pose()
    assert 40.0 < line.at(10.0 + travel.seconds / 2).s < 60.0
    assert line.at(15.0) == Pose(100.0)
    assert line.at(20.5).x == 0.04


def test_a_gauge_has_lost_motion_and_counts():
    gauge = Gauge(Random(1), 0.0, 0.0, 0.002)
    up = [gauge.indicate(value / 1000) for value in range(10)][-1]
    down = [gauge.indicate(value / 1000) for value in range(20, 8, -1)][-1]
    assert up == pytest.approx(0.008)
    assert down == pytest.approx(0.010)
    coarse = Gauge(Random(1), 0.01)
    assert coarse.indicate(1.2345) == pytest.approx(1.23)


@given(seed=st.integers(0, 1000))
def test_an_edge_has_no_angle_over_its_ridden_stretch(seed):
    edge = EdgeProfile.draw(Random(seed), 300.0, 0.002, 0.004, (60.0, 285.0))
    places = [60.0 + 0.5 * n for n in range(451)]
    middle = sum(places) / len(places)
    heights = [edge.at(place) for place in places]
    slope = sum((p - middle) * h for p, h in zip(places, heights, strict=True)) / sum(
        (p - middle) ** 2 for p in places
    )
    assert abs(slope) < 1e-9
    edge.wipe(Random(seed), 20.0)
    assert all(edge.at(place) >= height for place, height in zip(places, heights, strict=True))
    assert max(map(abs, heights)) < 0.05
