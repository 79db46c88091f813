"""Budget and Student's t against the tables and worked examples of the GUM and against scipy."""

import csv
import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bench.uncertainty.budget import (
    Part,
    closure,
    combine,
    contact_away,
    reading_age,
    rectangular,
    resolution,
    seat,
    span,
    tilt,
    travel_scale,
)
from bench.uncertainty.distributions import f_two_sided, f_upper_tail, t_quantile

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"


def published(name: str) -> dict:
    return json.loads((REFERENCE / name).read_text())


def table_g2() -> list[tuple[float | None, float, str]]:
    with (REFERENCE / "gum_table_g2_t.csv").open() as file:
        header, *rows = list(csv.reader(file))
    levels = [float(name.removeprefix("t_p").removesuffix("[1]")) / 100 for name in header[1:]]
    return [
        (None if row[0] == "inf" else float(row[0]), level, text)
        for row in rows
        for level, text in zip(levels, row[1:], strict=True)
    ]


@pytest.mark.ci
def test_t_factors_of_table_g2() -> None:
    """JCGM 100:2008, Table G.2, every cell. Its 68.27, 95.45 and 99.73 % are one, two, three sigma; the
    rounding of those names shows in the last digit of the first rows."""
    import scipy.stats

    exact = {0.6827: 1.0, 0.9545: 2.0, 0.9973: 3.0}
    cells = table_g2()
    assert len(cells) == 28 * 6
    for dof, level, text in cells:
        p = scipy.stats.chi2.cdf(exact[level] ** 2, 1) if level in exact else level
        digits = len(text.partition(".")[2])
        assert t_quantile(float(p), dof) == pytest.approx(float(text), abs=0.5001 * 10**-digits)


@given(st.floats(0.3, 1e6), st.sampled_from([0.5, 0.9, 0.95, 0.99, 0.9999]))
def test_t_quantile_is_scipys(dof: float, p: float) -> None:
    from scipy.special import stdtrit

    assert t_quantile(p, dof) == pytest.approx(stdtrit(dof, 0.5 + p / 2), rel=1e-7)


@given(st.floats(0.01, 50), st.floats(0.5, 200), st.floats(0.5, 200))
def test_f_tail_is_scipys(ratio: float, top: float, bottom: float) -> None:
    from scipy.special import fdtrc

    assert f_upper_tail(ratio, top, bottom) == pytest.approx(fdtrc(top, bottom, ratio), abs=1e-9)
    assert 0 <= f_two_sided(ratio, top, bottom) <= 1


@pytest.mark.parametrize(("p", "dof"), [(0.0, 5), (1.0, 5), (0.95, 0), (0.95, -1), (0.95, math.nan)])
def test_t_quantile_says_what_is_wrong(p: float, dof: float) -> None:
    with pytest.raises(ValueError, match=r"confidence|degrees"):
        t_quantile(p, dof)


def test_caliper_budget() -> None:
    """EA-4/02, S10: a vernier caliper at 150 mm, bounds taken as rectangular: u 33 um as printed, 32.3 unrounded. The
    two largest make a trapezoid, k 1.83; a normal's 1.96 is what is used here, so U comes out a little wider, not less.
    """
    data = published("ea_4_02_s10_caliper.json")
    rows = {row["name"]: row for row in data["budget"]}
    parts = [rectangular(name, row["half_width"]) for name, row in rows.items() if "half_width" in row] + [
        rectangular("temperature", rows["delta_t"]["half_width_K"] * rows["delta_t"]["c_um_per_K"])
    ]
    combined = combine(parts)
    want = data["recomputed_unrounded"]
    assert combined.standard_uncertainty == pytest.approx(want["u_um"], rel=1e-3)
    assert combined.rows[0].part == "mechanical effects" and combined.degrees_of_freedom is None
    assert want["U_95_percent_um"] < combined.expanded < 1.1 * want["U_95_percent_um"]


def test_end_gauge_budget() -> None:
    """JCGM 100:2008, H.1: u_c 32 nm (31.7 unrounded), 16 degrees of freedom, 2.92, U99 93 nm."""
    data = published("gum_h1_end_gauge.json")
    inputs = data["inputs"]
    length = inputs["l_S"]["value"]
    parts = [
        Part("standard", "B", inputs["l_S"]["u"], 18),
        Part("repeat", "A", inputs["d_repeat"]["u"], 24),
        Part("comparator, random", "A", inputs["d_comparator_random"]["u"], 5),
        Part("comparator, systematic", "B", inputs["d_comparator_systematic"]["u"], 8),
        Part("expansion", "B", length * 0.1 * inputs["delta_alpha"]["u"], 50),
        Part("temperature", "B", length * 11.5e-6 * inputs["delta_theta"]["u"], 2),
    ]
    want = data["recomputed_unrounded"]
    combined = combine(parts, 0.99)
    assert combined.standard_uncertainty == pytest.approx(want["combined_standard_uncertainty_nm"], abs=0.05)
    assert combined.degrees_of_freedom == pytest.approx(data["published"]["effective_dof"], abs=0.2)
    factor = combined.expanded / combined.standard_uncertainty
    assert factor == pytest.approx(data["published"]["coverage_factor_99_percent"], abs=0.02)
    assert combined.expanded == pytest.approx(data["published"]["expanded_uncertainty_99_percent_nm"], abs=1)
    assert combined.rows[0].part == "standard"
    assert sum(row.share for row in combined.rows) == pytest.approx(1)
    assert [row.share for row in combined.rows] == sorted((row.share for row in combined.rows), reverse=True)


def test_effective_degrees_of_freedom() -> None:
    """JCGM 100:2008, G.4.1: 19.0 and U95 2.2 %."""
    data = published("gum_g4_welch_satterthwaite.json")
    parts = [Part(str(row["dof"]), "A", row["relative_u_percent"], row["dof"]) for row in data["inputs"]]
    combined = combine(parts)
    want = data["recomputed_unrounded"]
    assert combined.standard_uncertainty == pytest.approx(want["relative_uc_percent"])
    assert combined.degrees_of_freedom == pytest.approx(want["effective_dof"])
    assert round(combined.expanded, 1) == data["published"]["relative_U95_percent"]


def test_nothing_but_bounds_is_normal() -> None:
    combined = combine([Part("a", "B", 3.0), None, Part("b", "B", 4.0)])
    assert combined.standard_uncertainty == 5
    assert combined.degrees_of_freedom is None
    assert combined.expanded == pytest.approx(5 * 1.959963985)


def test_empty_and_broken_budgets() -> None:
    assert combine([]).expanded == 0
    with pytest.raises(ValueError, match="'seat'"):
        combine([Part("seat", "B", math.nan)])


@settings(max_examples=2 * settings().max_examples)
@given(
    st.lists(
        st.tuples(st.floats(0, 1e-3), st.one_of(st.none(), st.floats(1, 200))),
        min_size=1,
        max_size=8,
    )
)
def test_sum_is_no_less_than_its_largest_row(rows: list[tuple[float, float | None]]) -> None:
    combined = combine([Part(str(k), "A", u, dof) for k, (u, dof) in enumerate(rows)])
    assert combined.standard_uncertainty >= max(u for u, _ in rows) * (1 - 1e-12)
    finite = [dof for _, dof in rows if dof is not None]
    if combined.degrees_of_freedom is not None:
        assert combined.degrees_of_freedom >= min(finite) * (1 - 1e-9)
    assert math.isfinite(combined.expanded)


HALF = (0.5, 0.5)


def test_seat() -> None:
    assert seat(HALF, reseated=True) is None
    assert seat(HALF, reseated=False).standard_uncertainty == pytest.approx(30e-6 / math.sqrt(2))
    logged = seat((1.0,), reseated=False, scatter=20e-6)
    assert (logged.type, logged.standard_uncertainty) == ("B", 20e-6)


def test_contact_away_is_the_turn_of_an_arc() -> None:
    """The direction of a circle through the ends of a runner and a rise h over its middle, d further on."""
    h, d, runner = 0.05, 40.0, 500.0
    radius = (runner**2 / 4 + h**2) / (2 * h)
    part = contact_away(d, h, runner)
    assert part.standard_uncertainty == pytest.approx(math.asin(d / radius) / math.sqrt(3), rel=1e-4)
    assert contact_away(d, None, runner) is None


def test_resolution_only_where_the_scatter_hides_it_not() -> None:
    assert resolution(0.01, 220, 0.004) is None
    part = resolution(0.01, 220, 0.003)
    both_ends = math.sqrt(2) * 0.005 / math.sqrt(3) / 220  # rectangular, GUM 4.3.7
    assert part.standard_uncertainty == pytest.approx(both_ends)
    assert resolution(0.01, 220, 0.0, HALF).standard_uncertainty == pytest.approx(both_ends / math.sqrt(2))


def test_span_of_the_indicator() -> None:
    # two readings, each rounded by up to half a count: their difference is triangular over one count either way;
    # beside it 1 % of the span, rectangular (GUM 4.3.9 and 4.3.7)
    part = span(0.06, 220, 0.001)
    rounded = 0.001 / math.sqrt(6)
    share = 0.0006 / math.sqrt(3)
    assert part.standard_uncertainty == pytest.approx(math.hypot(rounded, share) / 220)
    # a count that the row "resolution" holds is not there twice (GUM 4.3.10)
    both = [resolution(0.001, 220, 0.0), span(0.06, 220, 0.001, rounded=True)]
    assert combine(both).standard_uncertainty == pytest.approx(part.standard_uncertainty)
    assert span(0.06, 220, 0.001, short_span_error=0.002).standard_uncertainty == pytest.approx(
        0.002 / math.sqrt(3) / 220
    )
    assert span(0.06, 220, 0.001, short_span_error=0.002, rounded=True).standard_uncertainty == pytest.approx(
        0.002 / math.sqrt(3) / 220
    )
    assert span(0.06, 220, 0.001, preload_moved=True) is None


def test_relative_rows() -> None:
    assert travel_scale(-3e-4, 0.001).standard_uncertainty == pytest.approx(3e-7 / math.sqrt(3))
    assert tilt(3e-4, math.radians(2)).standard_uncertainty == pytest.approx(
        3e-4 * (1 - math.cos(math.radians(2))) / math.sqrt(3)
    )
    assert reading_age(3e-4, None, 20, 220) is None
    assert reading_age(-3e-4, 0.05, 20, 220).standard_uncertainty == pytest.approx(3e-4 * 1 / 220)


def test_closure() -> None:
    assert closure(None, 220) is None
    assert closure(-0.004, 220).standard_uncertainty == pytest.approx(0.004 / math.sqrt(3) / 220)
