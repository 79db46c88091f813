"""upright: a square of two bars that is stood beside a leaning body by shapely, reversed, and met by a ray.

The frame is the upright plane across the face: for the sled fence as seen from its right end (away from you is to
the right), for the blade as seen from where you stand. Bodies are turned in it counter-clockwise; which way a reading
grows follows from where the ray meets them. Reversal: Evans, Hocken, Estler (1996), fixtures/reference.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw
from bench.geometry.upright import lean, slope
from bench.procedure.conclusion import conclude
from bench.render.result import opposite

REFERENCE = Path(__file__).parents[3] / "fixtures/reference/reversal_equations.json"
FINE = Indicator(resolution=1e-7, short_span_error=0.0)
HEIGHTS = (10.0, 40.0, 70.0)
STOCK, EDGE = 90.0, 140.0  # mm; from the face to the upright edge


def square(error: float) -> tuple[Polygon, LineString]:
    """Stock along +X on the table, the arm's outer edge at the origin: 90 deg + e between them, through the body."""
    upright = math.pi / 2 + error
    up = (math.cos(upright), math.sin(upright))
    across = (up[1], -up[0])
    far = [(up[0] * h + across[0] * w, up[1] * h + across[1] * w) for h, w in ((120, 0), (120, 20), (0, 20))]
    body = Polygon([(0, 0), *far]).union(box(0.2, 0, STOCK, 15))
    return body, LineString([(0, 0), far[0]])


def read(face: Polygon, error: float, on: str, stock_away: bool, name: str, times: int = 3) -> list[Trace]:
    """face: on the other side of the square, which stands on its `on` side."""
    body, edge = square(error)
    sign = 1.0 if on == "right" else -1.0
    mirror = sign if stock_away else -sign  # turned about the vertical
    body, edge = (affinity.scale(g, mirror, 1, origin=(0, 0)) for g in (body, edge))
    body, edge = (affinity.translate(g, sign * EDGE) for g in (body, edge))
    assert body.intersection(face).area == 0  # the stock finds room
    (x0, y0), (x1, y1) = edge.coords
    out = []
    for height in HEIGHTS:
        at = x0 + (x1 - x0) * (height - y0) / (y1 - y0)
        ray = LineString([(at, height), (at - sign * 600, height)])
        away = ray.intersection(face).distance(LineString([(at, height), (at, height + 1e-9)]).centroid)
        out += [Trace(name, [height], [150.0 - away], True, f"{k}{height}") for k in range(times)]
    return out


def leaning(angle: float, thick: float, on: str) -> Polygon:
    """A body whose face toward the square passes the origin, turned counter-clockwise about it."""
    body = box(-thick, -200, 0, 200) if on == "right" else box(0, -200, thick, 200)
    return affinity.rotate(body, angle, origin=(0, 0), use_radians=True)


def fence(angle: float, error: float, side: str) -> list[Trace]:
    # seen from the right end: a board lies to the right of a near fence, to the left of a far one
    on = "right" if side == "near" else "left"
    face = leaning(angle, 18.0, on)
    return read(face, error, on, True, "fence-away") + read(face, error, on, False, "fence-toward")


def blade(
    angle: float, error: float, on: str, tilt: float = 0.0, warp: float = 0.0, turns: int = 4
) -> list[Trace]:
    """tilt: of the plate on its arbor; its lean goes round with the turn, that of the warp twice as fast."""
    out = []
    for name, turn in (("blade-away", 0), ("blade-toward", 180), ("blade-away-quarter", 90),
                       ("blade-toward-quarter", 270))[:turns]:  # fmt: skip
        swing = tilt * math.cos(math.radians(turn)) + warp * math.cos(math.radians(2 * turn))
        face = leaning(angle + swing, 2.5, on)
        out += read(face, error, on, "away" in name, name)
    return out


def worked(traces: list[Trace], jig: Jig | None = None, saw: Saw | None = None, **options) -> Finding:
    gear = EvidenceGear(FINE, jig=jig or Jig("sled"), saw=saw or Saw("saw"))
    evidence = Evidence("upright", traces, {"limit": 1e-3, **options}, gear)
    return conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")


@pytest.mark.parametrize("side", ["near", "far"])
@pytest.mark.parametrize("angle", [0.003, -0.002])
@pytest.mark.parametrize("error", [0.0, 8e-4, -5e-4])
def test_a_sled_fence_that_leans(side, angle, error) -> None:
    found = worked(fence(angle, error, side), Jig("sled", fence=side))
    (q,) = found.quantities
    assert (q.name, q.unit) == ("fence-lean", "rad")
    assert q.value == pytest.approx(angle, abs=1e-7)
    # counter-clockwise as seen from the right end the top goes to the left: toward you
    assert q.way == ("top leans toward you" if angle > 0 else "top leans away from you")
    assert found.verdict == q.verdict == "outside" and found.move is None
    assert opposite(q.way) == ("top leans away from you" if angle > 0 else "top leans toward you")
    assert ("square-not-plumb" in found.codes) == (abs(error) > 4e-4)


@pytest.mark.parametrize("on", ["left", "right"])
@pytest.mark.parametrize("angle", [0.0015, -0.0008])
def test_a_blade_that_leans_on_a_plate_that_is_tilted_and_warped(on, angle) -> None:
    found = worked(blade(angle, 6e-4, on, tilt=9e-4, warp=4e-4), stands=on)
    (q,) = found.quantities
    assert q.name == "blade-lean" and q.value == pytest.approx(angle, abs=1e-6)
    assert q.way == ("top leans to the left" if angle > 0 else "top leans to the right")
    assert "two-turns" not in found.codes
    two = worked(blade(angle, 6e-4, on, tilt=9e-4, turns=2), stands=on)
    assert two.quantities[0].value == pytest.approx(angle, abs=1e-6)  # half a turn takes the tilt out
    bent = worked(blade(angle, 6e-4, on, tilt=9e-4, warp=2e-4, turns=2), stands=on)
    assert bent.quantities[0].value == pytest.approx(angle + 2e-4, abs=1e-6)
    assert "two-turns" in bent.codes and bent.budget[0].part == "plate warp"  # and its row holds that
    assert abs(bent.quantities[0].value - angle) <= bent.quantities[0].uncertainty


def test_both_in_one_check_the_fence_first() -> None:
    found = worked(fence(2e-4, 1e-4, "near") + blade(-3e-3, 1e-4, "right"))
    assert [(q.name, q.verdict) for q in found.quantities] == [
        ("fence-lean", "inside"),
        ("blade-lean", "outside"),
    ]
    assert found.verdict == "inside"


def test_half_of_it_is_refused() -> None:
    some = fence(1e-3, 0.0, "near")
    with pytest.raises(EvidenceError, match="fence-lean takes fence-toward too"):
        worked([t for t in some if t.placement == "fence-away"])
    with pytest.raises(EvidenceError, match=r"fence-away was read over 0.0 mm of height; 10 mm at least"):
        worked([t for t in some if t.travel[0] == 10.0])
    with pytest.raises(EvidenceError, match="takes three readings"):
        worked([t for t in some if t.sweep in ("010.0", "070.0")])
    with pytest.raises(EvidenceError, match="blade-toward-quarter too"):
        worked(blade(1e-3, 0.0, "right", turns=3))
    with pytest.raises(EvidenceError, match="it takes fence-away and fence-toward"):
        worked([])


def test_readings_that_do_not_belong_together_are_doubted() -> None:
    some = fence(1e-3, 0.0, "near")
    some[1] = Trace("fence-away", some[1].travel, [some[1].reading[0] + 4.0], True, "odd")
    assert "spread" in worked(some).codes


@pytest.mark.parametrize(
    ("only", "turns", "steps"), [("both", "four", 16), ("fence", "four", 8), ("blade", "two", 8)]
)
def test_the_set_ups_that_are_asked_for(only, turns, steps) -> None:
    check = find("upright")
    planned = check.plan({"placements": only, "blade_turns": turns, "high_at": 55.0}, EvidenceGear())
    assert len(planned) == steps and {s.at for s in planned} == {10.0, 55.0}
    # both heights of a set-up follow one another: the square stays
    assert [s.placement for s in planned[::2]] == [s.placement for s in planned[1::2]]
    assert all(s.side is None for s in planned if s.placement.startswith("fence"))
    assert {s.side for s in planned if s.placement.startswith("blade")} <= {"right"}


def test_the_reversal_of_a_published_square() -> None:
    """The worked example of the square turned over, as slopes over 300 mm of height."""
    case = next(
        c for c in json.loads(REFERENCE.read_text())["examples_constructed_here"] if c["name"] == "square"
    )
    heights = [0.0, 300.0, 0.0, 300.0]
    one, two = (slope(heights, [0.0, rise, 0.0, rise]) for rise in (case["a1"], case["a2"]))
    found = lean([one], [two])
    assert found.value * 300 == pytest.approx(case["e_machine"])
    assert found.square is not None and found.square * 300 == pytest.approx(case["e_square"])
    assert math.degrees(found.value) * 3600 == pytest.approx(case["e_machine_arcsec"], rel=1e-4)


def seated(asked: list, lean_: float, error: float, grit: dict[int, float]) -> list[Trace]:
    """What the plan asks for, read without noise; each seat of the square stands elsewhere. grit: rad, by seat."""
    traces, seats = [], -1
    for n, step in enumerate(asked):
        seats += n == 0 or asked[n - 1].placement != step.placement
        tilt = error + grit.get(seats, 0.0)
        slope_ = lean_ + (tilt if "away" in step.placement else -tilt)
        touches = [2.0 + 1.5 * (seats % 3) + slope_ * step.at + 1e-4 * (k % 2) for k in range(step.repeat)]
        traces.append(Trace(step.placement, [step.at] * step.repeat, touches, True, str(n)))
    return traces


@pytest.mark.parametrize("turns", ["two", "four"])
@pytest.mark.parametrize("only", ["fence", "blade"])
@pytest.mark.parametrize("seat", [0, 1, 3])
def test_grit_under_one_seat_of_the_square_is_held_and_told(only, turns, seat) -> None:
    """0.04 mm under a stock of 100 tilted the lean by 200 urad, give or take 49, without a word."""
    asked = list(find("upright").plan({"placements": only, "blade_turns": turns}, EvidenceGear()))
    for grit in (0.0, 4e-4, -4e-4):
        found = worked(seated(asked, 3e-4, 1e-4, {seat: grit}))
        (q,) = found.quantities
        assert abs(abs(q.value) - 3e-4) <= q.uncertainty and not found.doubts
        if only == "fence" or turns == "two":
            assert ("seats-apart" in found.codes) == (grit != 0.0)
            assert "seated-once" not in found.codes
        elif grit:
            assert found.budget[0].part == "pairs of turns that differ"


def test_a_recorded_square_that_stood_once_each_way_is_told_so() -> None:
    assert "seated-once" in worked(fence(1e-3, 1e-4, "near")).codes
    again = [
        Trace(t.placement, t.travel, [r + 0.4 for r in t.reading], True, f"2{t.sweep}", seat="2")
        for t in fence(1e-3, 1e-4, "near")
    ]
    assert "seated-once" not in worked(fence(1e-3, 1e-4, "near") + again).codes


@given(
    st.floats(-0.01, 0.01), st.floats(-0.005, 0.005),
    st.lists(st.floats(5.0, 200.0), min_size=3, max_size=8).filter(lambda z: max(z) - min(z) > 1.0),
)  # fmt: skip
def test_lean_and_square_come_apart(face, error, heights) -> None:
    away = slope(heights, [2.0 + (face + error) * z for z in heights])
    toward = slope(heights, [3.0 + (face - error) * z for z in heights])
    found = lean([away], [toward])
    assert found.value == pytest.approx(face, abs=1e-9) and found.square == pytest.approx(error, abs=1e-9)


def test_the_scatter_of_a_line_is_that_of_a_library() -> None:
    """Slope and its standard error, against numpy's linear regression."""
    heights = [10.0, 10.0, 10.0, 40.0, 70.0, 70.0, 70.0]
    readings = [2.001, 2.003, 2.002, 2.041, 2.076, 2.079, 2.077]
    (rises, _), covariance = np.polyfit(heights, readings, 1, cov=True)
    one = slope(heights, readings)
    both = lean([one], [one])
    assert one.slope == pytest.approx(rises) and both.degrees_of_freedom == 10
    assert both.standard_uncertainty == pytest.approx(math.sqrt(covariance[0, 0] / 2))


def test_an_indicator_that_creeps_turns_the_square_and_not_the_fence() -> None:
    """Taken in the order that is asked for, 5 um further in at each touch: 250 urad where every set-up began below."""
    fence_leans, error, traces = 1e-3, 1e-4, []
    for n, step in enumerate(find("upright").plan({"placements": "fence"}, EvidenceGear())):
        way = 1 if step.placement == "fence-away" else -1
        true = 2.5 + (fence_leans + way * error) * step.at
        touches = [true + 0.005 * (step.repeat * n + k) for k in range(step.repeat)]
        traces.append(Trace(step.placement, [step.at] * step.repeat, touches, True, str(n)))
    lean_ = worked(traces, limit=2e-3).quantities[0]
    assert abs(lean_.value) == pytest.approx(fence_leans, abs=1e-6)
