"""The line a board rests on, against boards pushed onto polygons by a geometry library."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.columns import GeometryError
from bench.geometry.contact import contact_line, lower_hull, upper_hull

X = np.arange(-450.0, 451.0)
CROWN = 0.05 * (1 - (X / 450.0) ** 2)

profiles = st.lists(
    st.tuples(st.integers(-400, 400), st.integers(-200, 200)),
    min_size=4,
    max_size=40,
    unique_by=lambda p: p[0],
).map(
    lambda points: (
        np.array([p[0] for p in sorted(points)], float),
        np.array([p[1] for p in sorted(points)]) / 1000.0,
    )
)
places = st.tuples(st.floats(0.0, 0.4), st.floats(0.6, 1.0), st.floats(0.001, 0.999))


def board_on(x, where):
    """Board and push as shares of the profile's length."""
    low, length = x.min(), np.ptp(x)
    left, right = low + where[0] * length, low + where[1] * length
    return left, right, left + where[2] * (right - left)


def resting_line(x, y, left, right, pushed_at):
    """Height under the push of the lowest straight edge that lies on the profile, by linear programming."""
    from scipy.optimize import linprog

    at = np.unique(np.concatenate(([left, right], x[(x > left) & (x < right)])))
    under = np.interp(at, x, y)
    rows = -np.column_stack((np.ones_like(at), (at - pushed_at) / 100.0))
    found = linprog([1.0, 0.0], rows, -under, bounds=[(None, None)] * 2, method="highs")
    assert found.status == 0
    return found.x[0]


def test_the_crown_that_was_worked_by_simulation():
    """Crown of 0.05 over 900, board -400 to 50 pushed at -180: +0.000089."""
    found = contact_line(X, CROWN, -400.0, 50.0, -180.0)
    assert found.rotation == pytest.approx(0.000089, abs=5e-7)
    assert found.rotation == pytest.approx(-2.0 * 0.05 * -180.0 / 450.0**2, rel=1e-6)
    assert found.span[0] == pytest.approx(-2.0 * 0.05 * -130.0 / 450.0**2, abs=3e-7)
    assert found.span[1] == pytest.approx(-2.0 * 0.05 * -230.0 / 450.0**2, abs=3e-7)


def test_a_board_pushed_onto_the_fence_by_a_geometry_library_turns_the_same_way():
    """A real board polygon, turned by the answer, lies on a real fence polygon without sinking into it,
    touches it at both ends of the edge, and turned either way about the push it sinks in."""
    x = np.array([-300.0, -180.0, -90.0, 30.0, 140.0, 300.0])
    y = np.array([0.0, 3.0, -2.0, 4.5, 1.0, 2.0])  # strongly bent, so that nothing hides in rounding
    fence = shapely.Polygon([*zip(x, y, strict=True), (300.0, -50.0), (-300.0, -50.0)])
    found = contact_line(x, y, -250.0, 200.0, -40.0)
    assert found.edge == (-180.0, 30.0)

    def board(rotation):
        line = 3.0 + rotation * (-40.0 - -180.0)
        ends = [(u, line + rotation * (u + 40.0)) for u in (-250.0, 200.0)]
        return shapely.Polygon([*ends, (200.0, 100.0), (-250.0, 100.0)])

    tall = [board(found.rotation)]
    assert tall[0].intersection(fence).area < 1e-9
    touching = tall[0].boundary.distance(shapely.MultiPoint([(-180.0, 3.0), (30.0, 4.5)]))
    assert touching < 1e-9
    for turned in (found.rotation + 1e-3, found.rotation - 1e-3):
        pivot = 3.0 + found.rotation * 140.0
        ends = [(u, pivot + turned * (u + 40.0)) for u in (-250.0, 200.0)]
        sunk = shapely.Polygon([*ends, (200.0, 100.0), (-250.0, 100.0)]).intersection(fence).area
        assert sunk > 1e-3


@given(profiles, places)
def test_the_edge_is_the_lowest_line_under_the_push(profile, where):
    x, y = profile
    left, right, push = board_on(x, where)
    found = contact_line(x, y, left, right, push)
    start = np.interp(found.edge[0], x, y)
    height = start + found.rotation * (push - found.edge[0])
    assert height == pytest.approx(resting_line(x, y, left, right, push), abs=1e-7)
    at = np.linspace(left, right, 101)
    assert np.all(np.interp(at, x, y) <= start + found.rotation * (at - found.edge[0]) + 1e-9)


@given(profiles, places, st.floats(-1.0, 1.0), st.floats(-1e-3, 1e-3))
def test_tilt_mirror_and_far_fence(profile, where, a, b):
    x, y = profile
    left, right, push = board_on(x, where)
    found = contact_line(x, y, left, right, push)
    assert contact_line(x, y + a + b * x, left, right, push).rotation == pytest.approx(
        found.rotation + b, abs=1e-9
    )
    mirrored = contact_line(-x, y, -right, -left, -push)
    assert mirrored.rotation == pytest.approx(-found.rotation, abs=1e-9)
    far = contact_line(x, -y, left, right, push, fence="far")
    assert far.rotation == pytest.approx(-found.rotation, abs=1e-12)
    assert found.span[0] <= found.rotation + 1e-12
    assert found.span[1] >= found.rotation - 1e-12
    wider = contact_line(x, y, left, right, push, either_side=80.0)
    assert wider.span[0] <= found.span[0] and wider.span[1] >= found.span[1]


@given(profiles, places)
def test_the_rotation_is_its_sensitivity_times_the_heights(profile, where):
    x, y = profile
    found = contact_line(x, y, *board_on(x, where))
    assert found.sensitivity @ y == pytest.approx(found.rotation, abs=1e-10)
    assert found.sensitivity.sum() == pytest.approx(0.0, abs=1e-12)
    assert found.sensitivity @ x == pytest.approx(1.0)


@given(profiles)
def test_hulls_agree_with_scipy(profile):
    from scipy.spatial import ConvexHull

    x, y = profile
    if np.linalg.matrix_rank(np.column_stack((x - x[0], y - y[0])), tol=1e-9) < 2:
        return
    corners = set(upper_hull(x, y)) | set(lower_hull(x, y))
    assert corners == set(ConvexHull(np.column_stack((x, y * 1000.0))).vertices.tolist())


def test_pushed_on_a_single_proud_place_the_board_rocks():
    found = contact_line([-100.0, 0.0, 100.0], [0.0, 0.02, 0.01], -100.0, 100.0, 0.0)
    assert found.rotation == pytest.approx((0.0002 - 0.0001) / 2)
    assert found.span == pytest.approx((-0.0001, 0.0002))
    assert found.edge == (-100.0, 100.0)


def test_a_hollow_fence_carries_a_board_at_its_two_ends():
    found = contact_line(X, -CROWN, -399.5, 50.25, -180.0)
    at = -np.interp([-399.5, 50.25], X, CROWN)
    assert found.edge == (-399.5, 50.25)
    assert found.rotation == pytest.approx((at[1] - at[0]) / 449.75)
    assert found.span == pytest.approx((found.rotation, found.rotation))


@pytest.mark.parametrize(
    ("shape", "fence"),
    [
        (0.05, "near"),
        (-0.05, "far"),
        *(
            pytest.param(*case, marks=pytest.mark.ci)
            for case in [(0.0, "near"), (0.0, "far"), (0.05, "far"), (-0.05, "near")]
        ),
    ],
)
def test_the_uncertainty_is_the_scatter_of_noisy_profiles(shape, fence):
    rng = np.random.default_rng(17)
    x = np.linspace(-450.0, 450.0, 46)
    form = shape * (1 - (x / 450) ** 2)
    truth = contact_line(x, form, -400.0, 55.0, -150.0, fence=fence).rotation
    found = [
        contact_line(x, form + rng.normal(0, 0.001, x.size), -400.0, 55.0, -150.0, fence=fence, noise=0.001)
        for _ in range(40)
    ]
    error = np.array([f.rotation for f in found]) - truth
    said = np.array([f.standard_uncertainty for f in found])
    ratio = np.sqrt(np.mean(said**2) / np.mean(error**2))
    assert 0.75 < ratio < 1.9
    assert np.mean(np.abs(error) <= 2 * said) >= 0.89
    assert found[0].copies.size == 200


def test_boards_on_one_profile_share_their_noise():
    """A board and the same board again differ by nothing, copy by copy."""
    noise = 0.0004**2 * np.exp(-np.abs(np.subtract.outer(X[::10], X[::10])) / 40.0)
    first = contact_line(X[::10], CROWN[::10], -300.0, 0.0, -100.0, noise=noise)
    second = contact_line(X[::10], CROWN[::10], -300.0, 0.0, -100.0, noise=noise)
    assert np.array_equal(first.copies, second.copies)
    assert first.standard_uncertainty > 0.0


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: contact_line(X, CROWN, 500.0, 600.0, 550.0), "meets none"),
        (lambda: contact_line(X, CROWN, -100.0, 100.0, 150.0), "beside"),
    ],
)
def test_what_cannot_be_worked_out_says_why(call, says):
    with pytest.raises(GeometryError, match=says):
        call()


def test_a_board_reaching_past_the_profile_is_cut_to_it():
    found = contact_line(X, CROWN, -700.0, 100.0, 0.0)
    assert found.board == (-450.0, 100.0)
