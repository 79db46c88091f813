"""Where a chart's shapes stand, checked by reading the chart back as an eye would: by its ticks."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.render.report.chart import BOTTOM, LEFT, RIGHT, TOP, Chart, chart
from bench.render.report.figures import Scale

EPOCH = date(1970, 1, 1).toordinal()


def series(
    points: list[tuple[str, float, float]], tolerance: float | None, unit: str = "rad"
) -> dict[str, Any]:
    results = [
        {
            "id": str(n),
            "at": f"{at}T00:00:00+00:00",
            "value": v,
            "uncertainty": u,
            "alarm": None,
            "humidity": None,
        }
        for n, (at, v, u) in enumerate(points)
    ]
    period = {"from": points[0][0], "reason": "first", "mean": points[0][1], "results": results}
    return {"unit": unit, "tolerance": tolerance, "season": None, "baselines": [period]}


def read_value(drawn: Chart, y: float) -> float:
    """In the unit of the axis, from two ticks."""
    (a, one), (b, other) = [
        (t.at, float(t.words.replace("−", "-"))) for t in (drawn.y_ticks[0], drawn.y_ticks[-1])
    ]
    return one + (y - a) * (other - one) / (b - a)


dates = st.dates(date(2001, 1, 1), date(2060, 1, 1)).map(date.isoformat)
values = st.floats(-1e-3, 1e-3)


@given(
    points=st.lists(st.tuples(dates, values, st.floats(1e-7, 1e-4)), min_size=1, max_size=8).map(sorted),
    tolerance=st.none() | st.floats(1e-5, 1e-3),
    units=st.sampled_from(["mm", "inch"]),
)
def test_a_chart_reads_back(points, tolerance, units) -> None:
    of = series(points, tolerance)
    scale = Scale.of("rad", units, 400.0, max(abs(v) + u for _, v, u in points))
    drawn = chart(of, scale)
    assert len(drawn.points) == len(points) and len(drawn.y_ticks) >= 2 and drawn.x_ticks
    # half a unit of the plane's last digit at each of three places
    close = 0.2 * abs(read_value(drawn, TOP) - read_value(drawn, BOTTOM)) / (BOTTOM - TOP) * 5
    for (_, v, u), p in zip(points, drawn.points, strict=True):
        assert read_value(drawn, p.y) == pytest.approx(v * scale.factor, abs=close)
        assert read_value(drawn, p.low) == pytest.approx((v - u) * scale.factor, abs=close)
        assert LEFT <= p.x <= RIGHT and TOP <= p.high <= p.y <= p.low <= BOTTOM
    if tolerance is not None:
        assert drawn.band is not None
        assert read_value(drawn, drawn.band[0]) == pytest.approx(tolerance * scale.factor, abs=close)
        assert read_value(drawn, drawn.band[1]) == pytest.approx(-tolerance * scale.factor, abs=close)
    xs = [p.x for p in drawn.points]
    assert xs == sorted(xs)


@given(first=dates, last=dates)
def test_ticks_of_time_stand_at_the_first_of_their_month(first: str, last: str) -> None:
    first, last = sorted((first, last))
    drawn = chart(series([(first, 0.0, 1e-5), (last, 0.0, 1e-5)], 1e-4), Scale.of("rad", "mm", None, 1e-4))
    start, end = (date.fromisoformat(at).toordinal() - EPOCH for at in (first, last))
    assert len(drawn.x_ticks) <= 7
    if end - start < 62:
        return  # perhaps there is none
    for tick in drawn.x_ticks:
        text = tick.words if "-" in tick.words else tick.words + "-01"
        day = date.fromisoformat(text + "-01").toordinal() - EPOCH
        low, high = drawn.points[0].x, drawn.points[-1].x
        expected = low + (day - start) / (end - start) * (high - low)
        assert tick.at == pytest.approx(expected, abs=0.3)


def test_labels_of_events_do_not_lie_on_one_another() -> None:
    of = series([("2026-01-01", 0.0, 1e-5)], 1e-4)
    result = of["baselines"][0]["results"][0]
    for day in range(2, 20):
        at = f"2026-01-{day:02}"
        later = {**of["baselines"][0], "from": at, "reason": "dropped", "results": [{**result, "at": at}]}
        of["baselines"].append(later)
    drawn = chart(of, Scale.of("rad", "mm", None, 1e-4))
    assert len(drawn.events) == 18
    for row in {event.y for event in drawn.events if event.words}:
        at = [event.at for event in drawn.events if event.words and event.y == row]
        assert all(after - before >= 60 for before, after in pairwise(at))
