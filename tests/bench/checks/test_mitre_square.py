"""mitre-square: a 45-degree square laid on two fences by shapely, swept by a ray, and boards cut on them.

Which corner bears where, which side lies free and which way an error turns the long edge all follow from turning
and mirroring the triangle until it lies on the fence with its long edge along the travel: nothing is put in by formula.
The triangle's own sum of angles closes it; the reversal of Evans, Hocken, Estler (1996), fixtures/reference.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import product

import pytest
from everyday import everyday
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, SquareHistory, Trace
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw, Square
from bench.geometry.mitre import KNOWN, combination
from bench.procedure.conclusion import conclude
from bench.render.remarks import move_words, notes_of

LONG = 300.0
FENCES, CORNERS = ("left", "right"), ("a", "b")
SLED = Jig("frames", mitre="point-away", pivot_to_stop=300.0)
FINE = Indicator(resolution=1e-7, short_span_error=0.0)  # what the bodies show, no more


def direction(angle: float) -> tuple[float, float]:
    return math.cos(angle), math.sin(angle)


def triangle(e_a: float, e_b: float) -> dict[str, Point]:
    """Corners 45 deg + e_a at A, 45 deg + e_b at B; C where the two legs meet."""
    a, b = math.pi / 4 + e_a, math.pi / 4 + e_b
    reach = LONG * math.sin(b) / math.sin(a + b)
    return {"a": Point(0, 0), "b": Point(LONG, 0), "c": Point(reach * math.cos(a), reach * math.sin(a))}


def outline(corners: dict[str, Point]) -> Polygon:
    return Polygon([(p.x, p.y) for p in corners.values()])


def moved(corners: dict[str, Point], mirror: bool, angle: float, at: tuple[float, float], on: str):
    out = {}
    for name, p in corners.items():
        q = affinity.scale(p, -1, 1, origin=(0, 0)) if mirror else p
        out[name] = affinity.rotate(q, angle, origin=(0, 0), use_radians=True)
    dx, dy = at[0] - out[on].x, at[1] - out[on].y
    return {name: affinity.translate(p, dx, dy) for name, p in out.items()}


@cache
def fence_body(fence: str, point: str, side: str, turned: float) -> tuple[Polygon, float]:
    """The wood behind the working face, long and 40 mm thick, and the direction of its face."""
    angle = math.radians(45 if (fence == "left") == (point == "away") else 135) + turned
    dx, dy = direction(angle)
    nx, ny = (-dy, dx) if (dx > 0) == (side == "near") else (dy, -dx)  # where boards lie
    assert (ny > 0) == (side == "near")
    ends = [(-900 * dx, -900 * dy), (900 * dx, 900 * dy)]
    back = [(x - 40 * nx, y - 40 * ny) for x, y in reversed(ends)]
    return Polygon([*ends, *back]), angle


def laid(corners: dict[str, Point], corner: str, wood: Polygon, angle: float) -> dict[str, Point]:
    """The square lying on the fence with that corner and C on it, the long edge along the travel: the only way."""
    other = "b" if corner == "a" else "a"
    found = []
    for mirror, turn in product((False, True), (0.0, math.pi)):
        here = moved(corners, mirror, 0.0, (0, 0), corner)
        leg = math.atan2(here["c"].y, here["c"].x)
        here = moved(corners, mirror, angle + turn - leg, (0, 0), corner)
        edge = here[other]
        if abs(edge.x) < 0.02 * LONG and outline(here).intersection(wood).area < 1e-3:
            found.append(here)
    assert len(found) == 1
    return found[0]


def free_side(body: Polygon, edge: tuple[Point, Point]) -> str:
    return "right" if body.centroid.x < (edge[0].x + edge[1].x) / 2 else "left"


def swept(
    body: Polygon, edge: tuple[Point, Point], side: str, placement: str, run: float, clear: float
) -> list[Trace]:
    """The sled is pushed away, three times; a plunger standing on that side meets the body."""
    start = max(edge[0].y, edge[1].y) - clear
    far = 600.0 if side == "right" else -600.0
    travel, reading = [run * k / 40 for k in range(41)], []
    for s in travel:
        here = affinity.translate(body, 0, s)
        met = LineString([(far, start), (-far, start)]).intersection(here)
        first = met.bounds[2] if far > 0 else met.bounds[0]
        reading.append(700.0 - abs(far - first))
    return [Trace(placement, travel, reading, True, f"{placement} {k}") for k in range(3)]


def traces(left, right, e_a, e_b, batten=0.0, point="away", side="near", set_ups=None) -> list[Trace]:
    corners, out = triangle(e_a, e_b), []
    sides = {}
    for fence, turned in (("left", left), ("right", right)):
        wood, angle = fence_body(fence, point, side, turned)
        for corner in CORNERS:
            here = laid(corners, corner, wood, angle)
            edge = (here["a"], here["b"])
            name = f"{fence}-fence-corner-{corner}"
            sides[name] = free_side(outline(here), edge)
            out.extend(swept(outline(here), edge, sides[name], name, 200.0, 50.0))
    for lies in FENCES:  # a leg along a batten, the other one pointing away
        for mirror, turn in product((False, True), (0.0, math.pi)):
            here = moved(corners, mirror, 0.0, (0, 0), "c")
            leg = math.atan2(here["b"].y, here["b"].x)
            here = moved(corners, mirror, batten + turn - leg, (0, 0), "c")
            if here["a"].y > 0 and (here["b"].x < 0) == (lies == "left"):
                break
        edge, name = (here["a"], here["c"]), f"right-angle-{lies}"
        sides[name] = free_side(outline(here), edge)
        out.extend(swept(outline(here), edge, sides[name], name, 150.0, 30.0))
    jig = Jig("x", fence=side, mitre=f"point-{point}")
    planned = {s.placement: s.side for s in find("mitre-square").plan({}, EvidenceGear(jig=jig))}
    assert planned == sides  # the check asks for the side that lies free
    return [t for t in out if set_ups is None or t.placement in set_ups]


def worked(found: list[Trace], jig: Jig | None = SLED, **more) -> Finding:
    gear = EvidenceGear(FINE, jig=jig, saw=Saw("saw"), square=more.pop("square", None), leaves=(0.05, 0.1))
    return conclude(Evidence("mitre-square", found, {}, gear, **more), id="x", at="2026-01-01T00:00:00+00:00")


def values(finding: Finding) -> dict[str, float]:
    return {q.name: q.value for q in finding.quantities}


@pytest.mark.parametrize(
    ("left", "right", "point", "side"),
    everyday(
        [
            (*turned, *laid_so)
            for turned in ((4e-4, -3e-4), (-2e-4, 5e-4))
            for laid_so in product(("away", "toward"), ("near", "far"))
        ],
        3,
    ),
)
def test_the_angle_between_the_fences_without_trusting_the_square(point, side, left, right) -> None:
    jig = Jig("frames", fence=side, mitre=f"point-{point}", pivot_to_stop=300.0)
    found = worked(traces(left, right, 3e-4, -1.2e-4, batten=7e-4, point=point, side=side), jig)
    assert [q.name for q in found.quantities] == ["between", "left", "right"]
    assert values(found)["left"] == pytest.approx(left, abs=2e-8)
    assert values(found)["right"] == pytest.approx(right, abs=2e-8)
    assert values(found)["between"] == pytest.approx(joint(left, right, point, side), abs=2e-8)


def joint(left: float, right: float, point: str, side: str) -> float:
    """Two boards cut on the fences and joined at their mitres: how much more than square the corner is."""
    corners = []
    for fence, turned in (("left", left), ("right", right)):
        wood, angle = fence_body(fence, point, side, turned)
        dx, dy = direction(angle)
        nx, ny = (-dy, dx) if (-dy * wood.centroid.x + dx * wood.centroid.y) < 0 else (dy, -dx)
        ends = [(-400 * dx, -400 * dy), (400 * dx, 400 * dy)]
        board = Polygon([*ends, *[(x + 30 * nx, y + 30 * ny) for x, y in reversed(ends)]])
        sign = -1 if fence == "left" else 1
        half = Polygon([(0, -900), (sign * 900, -900), (sign * 900, 900), (0, 900)])
        piece = list(board.intersection(half).exterior.coords)[:-1]
        at = [k for k, (x, _) in enumerate(piece) if abs(x) < 1e-9]
        # the sharp one of the two corners at the cut
        corners.append(min(corner_angle(piece, k) for k in at))
    return sum(corners) - math.pi / 2


def corner_angle(ring: list[tuple[float, float]], k: int) -> float:
    x, y = ring[k]
    one, two = ring[k - 1], ring[(k + 1) % len(ring)]
    turn = math.atan2(one[1] - y, one[0] - x) - math.atan2(two[1] - y, two[0] - x)
    return abs(math.remainder(turn, 2 * math.pi))


@pytest.mark.parametrize("set_ups", [
    ("left-fence-corner-a", "right-fence-corner-b"), ("left-fence-corner-b", "right-fence-corner-a"),
])  # fmt: skip
def test_one_face_of_the_square_tells_the_angle_between_alone(set_ups) -> None:
    angle = ("right-angle-left", "right-angle-right")
    found = worked(traces(4e-4, -3e-4, 3e-4, -1e-4, 5e-4, set_ups=(*set_ups, *angle)))
    assert values(found) == {"between": pytest.approx(-7e-4, abs=2e-8)}
    assert found.move is None and "mitre-fences-unknown" in found.codes


@pytest.mark.parametrize("set_ups", [
    ("left-fence-corner-a", "right-fence-corner-a"), ("left-fence-corner-a", "left-fence-corner-b"),
])  # fmt: skip
def test_what_cannot_tell_the_angle_says_so(set_ups) -> None:
    with pytest.raises(EvidenceError, match="takes each corner on both fences"):
        worked(traces(4e-4, -3e-4, 3e-4, -1e-4, set_ups=set_ups))
    with pytest.raises(EvidenceError, match="right-angle-left without right-angle-right"):
        worked(traces(1e-4, 2e-4, 0.0, 0.0, set_ups=(*set_ups, "right-angle-left")))


FOUR = tuple(f"{f}-fence-corner-{c}" for f in FENCES for c in CORNERS)


def test_where_the_right_angle_comes_from() -> None:
    four = traces(1e-4, -2e-4, 3e-4, -1e-4, set_ups=FOUR)  # e_90 = -2e-4
    logged = worked(four, known=PriorKnowledge(square=SquareHistory(-2e-4, 1e-5, 8.0)))
    assert values(logged)["between"] == pytest.approx(-3e-4, abs=2e-8)
    assert "right-angle-as-measured" in logged.codes
    told = worked(four, square=Square("s", 200.0, 0.03))
    row = next(r for r in told.budget if r.part == "right angle of the square")
    assert row.standard_uncertainty == pytest.approx(0.03 / 200 / math.sqrt(3))
    assert values(told)["between"] == pytest.approx(-5e-4, abs=2e-8)  # with e_90 in it, and its row says so
    assert abs(-5e-4 + 3e-4) <= 2 * told.quantities[0].uncertainty and "right-angle-as-told" in told.codes
    nothing = worked(four)
    assert "right-angle-unknown" in nothing.codes
    assert nothing.quantities[0].uncertainty > told.quantities[0].uncertainty
    assert nothing.quantities[0].verdict == "cannot-tell"  # it can never call a fence good
    # a fence by itself takes half of that error
    halves = [values(nothing)[n] - values(logged)[n] for n in ("left", "right")]
    assert halves == [pytest.approx(1e-4, abs=2e-8), pytest.approx(-1e-4, abs=2e-8)]


def test_a_corner_taken_for_the_other_is_told() -> None:
    four = traces(1e-4, -2e-4, 4e-4, -4e-4)
    swapped = {"left-fence-corner-a": "left-fence-corner-b", "left-fence-corner-b": "left-fence-corner-a"}
    mixed = [Trace(swapped.get(t.placement, t.placement), t.travel, t.reading, True, t.sweep) for t in four]
    assert "corners-apart" not in worked(four).codes
    found = worked(mixed)
    assert "corners-apart" in found.codes
    # both names on one fence change places: what is told of the fences stays
    assert values(found)["between"] == pytest.approx(-3e-4, abs=2e-8)


# ---- the move ------------------------------------------------------------------------


def after(left, right, point, side, pivot, moves) -> dict[str, float]:
    """The fences after moves, each (fence, end, way, mm) at 300 mm from the pivot, square to the face."""
    turned = {"left": left, "right": right}
    for fence, end, way, distance in moves:
        angle = math.radians(45 if (fence == "left") == (point == "away") else 135) + turned[fence]
        dx, dy = direction(angle)
        # from the pivot to the end that moves; left and right as it lies on the sled
        ux, uy = (dx, dy) if (dx > 0) == (end == "right") else (-dx, -dy)
        nx, ny = (-dy, dx) if dx > 0 else (dy, -dx)  # away from the operator
        step = distance if way == "away" else -distance
        before = math.atan2(uy * 300, ux * 300)
        now = math.atan2(uy * 300 + ny * step, ux * 300 + nx * step)
        turned[fence] += math.remainder(now - before, 2 * math.pi)
        outer = (ux > 0) == (fence == "right")
        assert outer == (pivot == "point")  # the other end is held
    return turned


LAID = product(("away", "toward"), ("near", "far"), ("point", "outer"))
OUT = [(5e-4, 2e-5), (-1e-5, 4e-4), (5e-4, -4e-4), (4e-4, 7e-4)]


@pytest.mark.parametrize(
    ("point", "side", "pivot", "left", "right"),
    everyday([(*laid_so, *out) for laid_so, out in product(LAID, OUT)], 5),
)
def test_the_moves_close_the_angle(point, side, pivot, left, right) -> None:
    jig = Jig("frames", fence=side, mitre=f"point-{point}", mitre_pivot=pivot, pivot_to_stop=300.0)
    found = worked(traces(left, right, 1e-4, 3e-5, point=point, side=side), jig)
    move = found.move
    assert move is not None and found.verdict == "outside" and move.fence is not None
    assert move_words(move, "mm").startswith(f"{move.fence.capitalize()} fence")
    todo = [(move.fence, move.end, move.way, move.distance)]
    other = "left" if move.fence == "right" else "right"
    more = next((r for r in found.remarks if r.code == "mitre-move-too"), None)
    if more is None:
        assert "mitre-other-stays" in found.codes
        kept = {"left": left, "right": right}[other]
        assert abs(kept) <= jig.tolerance
    else:
        todo.append((other, more.values["end"], more.values["way"], more.values["distance"]))
    turned = after(left, right, point, side, pivot, todo)
    assert joint(turned["left"], turned["right"], point, side) == pytest.approx(0.0, abs=1e-7)
    for q in found.quantities[1:]:  # and the words name the end that stands too near, or too far
        a = {"left": left, "right": right}[q.name]
        angle = math.radians(45 if (q.name == "left") == (point == "away") else 135)
        end = q.name if pivot == "point" else {"left": "right", "right": "left"}[q.name]
        x = 1.0 if end == "right" else -1.0
        rise = x * math.tan(angle + a) - x * math.tan(angle)
        assert (
            q.way
            == f"its {'outer' if pivot == 'point' else 'inner'} end too {'near' if rise < 0 else 'far from'} you"
        )


def test_a_sled_without_lengths_still_gets_angles() -> None:
    bare = traces(5e-4, 1e-5, 2e-5, 4e-5)
    found = worked(bare, Jig("bare"))
    assert found.move is None and {"no-lever"} <= found.codes and found.verdict == "outside"
    nobody = worked(bare, None)
    assert nobody.verdict is None and values(nobody)["left"] == pytest.approx(5e-4, abs=2e-8)


def test_both_fences_swung_the_same_way_close_and_are_told() -> None:
    found = worked(traces(4e-4, 4e-4, 1e-4, 0.0))
    assert found.verdict == "inside" and found.move is None and "mitre-swung" in found.codes
    said = next(n for n in notes_of(found, "mm") if "Joints close" in n)
    assert "turned counter-clockwise by 0.12 mm" in said


# ---- the arithmetic ------------------------------------------------------------------


@given(
    st.lists(st.floats(-1e-3, 1e-3), min_size=5, max_size=5),
    st.sampled_from(["away", "toward"]),
    st.sampled_from([FOUR, FOUR[:3], (FOUR[0], FOUR[3])]),
    st.booleans(),
)
def test_weights_give_back_what_was_put_in(angles, point, set_ups, logged) -> None:
    left, right, e_a, e_b, batten = angles
    first = "left" if point == "away" else "right"
    seen = dict.fromkeys(set_ups, 0.0)
    for name in set_ups:
        fence, corner = name.partition("-")[0], name[-1]
        error = e_a if corner == "a" else e_b
        seen[name] = (left if fence == "left" else right) + (error if fence == first else -error)
    e_90 = -e_a - e_b
    seen |= (
        {KNOWN: e_90} if logged else {"right-angle-left": batten - e_90, "right-angle-right": batten + e_90}
    )
    between = right - left if point == "away" else left - right
    truths = {"between": between, "left": left, "right": right}
    determined = 0
    for name, truth in truths.items():
        weights = combination(name, list(seen), point)
        if weights is not None:
            determined += 1
            assert sum(weights[k] * v for k, v in seen.items()) == pytest.approx(truth, abs=1e-12)
    assert determined == (1 if len(set_ups) == 2 else 3)


def test_four_set_ups_and_a_right_angle_weigh_as_the_closure_has_it() -> None:
    """G = mean(b_A - b_B) - e_90: halves of the four, and the right angle in full."""
    weights = combination("between", [*FOUR, KNOWN], "away")
    assert weights == {
        "left-fence-corner-a": pytest.approx(-0.5), "left-fence-corner-b": pytest.approx(-0.5),
        "right-fence-corner-a": pytest.approx(0.5), "right-fence-corner-b": pytest.approx(0.5),
        KNOWN: pytest.approx(-1.0),
    }  # fmt: skip
