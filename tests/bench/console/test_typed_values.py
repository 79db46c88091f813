"""Values typed on a number pad, which has no blank and no letters, in the user's own unit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.console.first_start import Guide, proof_leaf
from bench.console.screens.value import with_unit
from bench.console.view_model import ViewModel
from bench.protocol import Error, Learn, Notice, PutJig, PutLeaves
from bench.units.parsing import UnitsError, parse_length, parse_slope


@pytest.mark.parametrize(
    ("text", "kind", "units", "read"),
    [
        ("9.75", "length", "inch", "9.75 in"),
        ("9+3/4", "length", "inch", "9 3/4 in"),
        ("9 3/4", "length", "inch", "9 3/4 in"),
        ("3/4", "length", "inch", "3/4 in"),
        ("250", "length", "inch", "250 in"),
        ("250 mm", "length", "inch", "250 mm"),
        ("250", "length", "mm", "250 mm"),
        ("5", "thin", "inch", "5 thou"),
        ("1.5", "thin", "inch", "1.5 thou"),
        ("0.005", "thin", "inch", "0.005 in"),
        (".005", "thin", "inch", ".005 in"),
        ("1/64", "thin", "inch", "1/64 in"),
        ("0.05", "thin", "mm", "0.05 mm"),
        ("2", "slope", "inch", "2 thou per ft"),
        ("2 thou", "slope", "inch", "2 thou per ft"),
        ("0.002", "slope", "inch", "0.002 in per ft"),
        ("0.1", "slope", "mm", "0.1 mm per 300 mm"),
        ("2 deg", "slope", "mm", "2 deg"),
        ("1 mm per 100 mm", "slope", "inch", "1 mm per 100 mm"),
    ],
)
def test_a_bare_number_is_in_the_users_own_unit(text, kind, units, read) -> None:
    assert with_unit(text, kind, units) == read
    assert (parse_slope if kind == "slope" else parse_length)(read) > 0


@pytest.mark.parametrize(
    ("text", "kind", "told"),
    [
        ("93/4", "length", "9+3/4"),  # a forgotten +: 23.25 in would be believed
        ("0.5", "thin", "5 is 5 thou"),  # half a thou, or half an inch?
        ("0.5", "slope", "5 is 5 thou"),
    ],
)
def test_what_may_mean_two_things_is_asked_about(text, kind, told) -> None:
    with pytest.raises(UnitsError, match=told.replace("+", r"\+")):
        with_unit(text, kind, "inch")


@given(st.integers(1, 60), st.sampled_from([2, 4, 8, 16, 32, 64]), st.data())
def test_every_mixed_fraction_of_an_inch_can_be_typed(whole, parts, data) -> None:
    part = data.draw(st.integers(1, parts - 1))
    read = parse_length(with_unit(f"{whole}+{part}/{parts}", "length", "inch"))
    assert read == pytest.approx((whole + part / parts) * 25.4)  # the inch is 25.4 mm exactly: ISO 31-1, 1959


def test_the_proof_asks_for_a_leaf_that_the_user_can_own() -> None:
    view = ViewModel(clock=lambda: 0.0)
    assert proof_leaf(view, Guide()) == 0.10
    view.units = "inch"
    assert proof_leaf(view, Guide()) == pytest.approx(0.004 * 25.4)
    assert proof_leaf(view, Guide(leaf=0.2)) == 0.2


async def test_a_sled_is_described_in_inches_by_number_pad(fake, scenes) -> None:
    fake.units = "inch"
    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("7", "2")
        await scenes.until(pilot, lambda t: "Pivot to blade" in t)
        await pilot.press("4", *"93/4", "enter")
        await scenes.until(pilot, lambda t: "type 9+3/4" in t)
        await pilot.press("minus", "minus", "minus", *"+3/4", "enter")
        await pilot.press("5", *"19.5", "enter", "6", *"18.5", "enter", "7", *"24", "enter", "8")
        await scenes.until(pilot, lambda t: "In thou per foot" in t)
        await pilot.press("2", "enter")
        long = "The indicator jumped to 0.04 thou. Left out, 1 so far: dust, a jerk or its cable."
        fake.say(Notice("indicator", long))  # it leaves room enough for the drawing
        text = await scenes.until(pilot, lambda t: "2 thou per ft" in t and "from pivot" in t and "dust" in t)
        assert "9 3/4 in" in text
        # what was typed stays until the daemon has it
        await pilot.press("9")
        await scenes.until(pilot, lambda t: bool(fake.of(PutJig)))
        fake.say(Error("bad-request", "the tolerance is too wide"))
        await scenes.until(pilot, lambda t: "The tolerance is too wide." in t and "9 3/4 in" in t)
        assert app.screen.page == "sled"
        await pilot.press("9")
        await scenes.until(pilot, lambda t: len(fake.of(PutJig)) == 2)
        jig = fake.of(PutJig)[-1].jig
        fake.jigs = [*fake.jigs, jig]
        fake.say(fake.gear())
        await scenes.until(pilot, lambda t: app.screen.page == "home")
        assert app.view.current_jig == jig.name
    assert jig.pivot_to_blade == pytest.approx(9.75 * 25.4)
    assert jig.tolerance == pytest.approx(0.002 / 12)


@pytest.mark.ci  # every day a sled is described in inches on the screen, and thou are read by `typed`
async def test_leaves_and_the_proof_are_in_thou_for_an_inch_user(fake, scenes) -> None:
    fake.units = "inch"
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("7", "3", *"2+4+10", "enter")
        await scenes.until(pilot, lambda t: bool(fake.of(PutLeaves)))
        assert fake.of(PutLeaves)[0].leaves == pytest.approx([0.0508, 0.1016, 0.254])
        await pilot.press("full_stop", "8")
        await scenes.until(pilot, lambda t: "a leaf of 4 thou" in t)
        await pilot.press("3")
        await scenes.until(pilot, lambda t: bool(fake.of(Learn)))
    assert fake.of(Learn)[0].leaf == pytest.approx(0.1016)
