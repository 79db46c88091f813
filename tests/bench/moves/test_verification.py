"""A fence turned about its pivot by shapely, found before and after with its uncertainty."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from pivot import pivot_at
from shapely import affinity
from shapely.geometry import LineString

from bench.finding import Finding, Quantity
from bench.gear import Jig
from bench.moves.lever import fence_move
from bench.moves.verification import HARDLY_MOVED, TOO_FAR, WRONG_WAY, judge_move
from bench.uncertainty.verdicts import verdict

U = 2e-5
TOLERANCE = 0.05 / 300


def found(a: float, jig: Jig, leaves: tuple[float, ...] = (), u: float = U) -> Finding:
    said = verdict(a, u, TOLERANCE)
    move = None if said == "inside" else fence_move(a, u, jig, leaves)
    return Finding(
        check="fence-square",
        jig=jig.name,
        quantities=[Quantity("fence", a, "rad", u, 5.0, TOLERANCE, said)],
        verdict=said,
        move=move,
    )


def turned(a: float, jig: Jig, dy: float, at: float) -> float:
    """Rotation after the free end was moved by dy (away positive), `at` mm from the pivot."""
    pivot = (pivot_at(jig), 0.0)
    end = pivot[0] + (at if jig.pivot == "left" else -at)
    fence = affinity.rotate(LineString([pivot, (end, 0.0)]), a, origin=pivot, use_radians=True)
    (x0, y0), (x1, y1) = fence.coords
    after = LineString([(x0, y0), (x1, y1 + dy)])
    left, right = sorted(after.coords)
    return math.atan2(right[1] - left[1], right[0] - left[0])


def made(before: Finding, jig: Jig, share: float = 1.0, at: float = 480.0) -> Finding:
    """The move made, `share` of its distance, at the place where the stop really is."""
    assert before.move is not None
    dy = before.move.distance * share * (1 if before.move.way == "away" else -1)
    return found(turned(before.quantities[0].value, jig, dy, at), jig)


def sled(pivot: str) -> Jig:
    return Jig("sled", pivot=pivot, pivot_to_blade=250.0, pivot_to_stop=480.0)  # type: ignore[arg-type]


@pytest.mark.parametrize("pivot", ["left", "right"])
@pytest.mark.parametrize("a", [6e-4, -6e-4])
@pytest.mark.parametrize(
    ("share", "at", "said"),
    [
        (1.0, 480.0, None),
        (-1.0, 480.0, WRONG_WAY),  # leaves on the wrong side of the face
        (-0.3, 480.0, WRONG_WAY),
        (0.0, 480.0, HARDLY_MOVED),  # the screw drew it back
        (0.1, 480.0, HARDLY_MOVED),
        (0.6, 480.0, None),  # short, but on the way: the next move says the rest
        (1.0, 300.0, TOO_FAR),  # the leaf was at 300, not at 480
        (2.0, 480.0, TOO_FAR),
    ],
)
def test_what_went_wrong_is_said(pivot: str, a: float, share: float, at: float, said: str | None) -> None:
    jig = sled(pivot)
    before = found(a, jig)
    assert judge_move(before, made(before, jig, share, at)) == said


def test_a_stack_known_to_be_too_thick_is_not_too_far() -> None:
    jig = sled("right")
    before = found(4e-4, jig, leaves=(0.3,))
    assert before.move is not None
    thick = replace(before.move, leaves=[0.4], leaves_left_over=before.move.distance - 0.4)
    after = made(before, jig, 0.4 / before.move.distance)
    assert after.verdict == "outside"
    assert judge_move(before, after) == TOO_FAR
    assert judge_move(replace(before, move=thick), after) is None


def test_what_cannot_be_compared_is_not_judged() -> None:
    jig = sled("right")
    before = found(6e-4, jig)
    worse = found(12e-4, jig)
    assert judge_move(before, worse) == WRONG_WAY
    assert judge_move(before, replace(worse, jig="other")) is None
    assert judge_move(before, replace(worse, check="test-board")) is None
    assert judge_move(replace(before, move=None), worse) is None
    assert judge_move(before, replace(worse, quantities=[])) is None


@given(
    a=st.floats(2e-4, 2e-3), share=st.floats(-2, 3), sign=st.sampled_from([-1, 1]), u=st.floats(1e-6, 4e-4)
)
def test_never_said_within_the_uncertainty(a: float, share: float, sign: int, u: float) -> None:
    jig = sled("right")
    before = found(sign * a, jig, u=u)
    after = found(sign * a * (1 - share), jig, u=u)
    said = judge_move(before, after)
    doubt = math.hypot(u, u)
    if said == WRONG_WAY:
        assert -share * a > doubt
    elif said == TOO_FAR:
        assert (share - 1) * a > doubt
    elif said == HARDLY_MOVED:
        assert share < 0.25 and (1 - share) * a > doubt
    elif before.move is not None and after.verdict != "inside":
        assert abs(share) * a <= doubt or share >= 0.25 or (1 - share) * a <= doubt
