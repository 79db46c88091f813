"""Moisture and heat in wood and metal, against the Wood Handbook's table and worked examples."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.reversal import GeometryError
from bench.upkeep.seasons import (
    ALUMINIUM,
    CAST_IRON,
    STEEL,
    WOODS,
    Climate,
    Moves,
    clearance_in,
    equilibrium_moisture,
    moisture_change,
    size_in,
    spacing_shift,
)

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
climates = st.builds(Climate, st.floats(0.0, 40.0), st.floats(0.05, 0.95))


def rows(name):
    with (REFERENCE / name).open() as file:
        return list(csv.DictReader(file))


def test_the_whole_moisture_table():
    """Forest Products Laboratory (2010), Wood Handbook, FPL-GTR-190, Table 4-2: 171 values, to 0.06 percent
    of moisture (half a unit of the last digit and the rounding of deg F into deg C)."""
    checked = 0
    for row in rows("wood_emc_table.csv"):
        celsius = (float(row["temperature[degF]"]) - 32.0) / 1.8
        for name, value in row.items():
            if name.startswith("mc_at_rh_"):
                humidity = float(name.split("_")[3].split("[")[0]) / 100.0
                assert equilibrium_moisture(Climate(celsius, humidity)) == pytest.approx(
                    float(value), abs=0.06
                )
                checked += 1
    assert checked == 171


def test_the_equation_at_its_check_values():
    for check in json.loads((REFERENCE / "wood_emc_equation.json").read_text())["check_values"]:
        found = equilibrium_moisture(Climate(check["T_degC"], check["rh_percent"] / 100.0))
        assert found == pytest.approx(check["mc_percent"], abs=6e-7)


def test_the_worked_boards():
    """Wood Handbook, chapter 13, and one trade text: 0.019 in on a 5 in board, 1.705 mm on 232 mm."""
    for example in json.loads((REFERENCE / "wood_dimensional_change.json").read_text())["worked_examples"]:
        size = example.get("D_mm", example.get("D_in", 0.0))
        published = example.get("published_mm", example.get("published_in", 0.0))
        found = moisture_change(size, example["C"], example["M_I"], example["M_F"])
        assert found == pytest.approx(published, abs=0.0006)


def test_the_woods_are_those_of_the_table():
    """Wood Handbook (2010), Table 13-5."""
    table = {
        r["species"]: (float(r["radial_CR[1/percent_MC]"]), float(r["tangential_CT[1/percent_MC]"]))
        for r in rows("wood_dimensional_change.csv")
    }
    names = {
        "mahogany": "Mahogany (Swietenia)",
        "oak, red": "Red oak, commercial",
        "oak, white": "White oak, commercial",
        "pine, loblolly": "Pine, loblolly (southern)",
    }
    lowered = {k.lower(): v for k, v in table.items()}
    for name, wood in WOODS.items():
        assert lowered[names.get(name, name).lower()] == (wood.radial, wood.tangential)


def test_the_metals_are_those_of_the_table():
    """Callister, Materials Science and Engineering, Table B.6."""
    table = {r["material"]: float(r["alpha_low[1e-6/K]"]) for r in rows("thermal_expansion.csv")}
    assert pytest.approx(table["steel, plain carbon (1020)"]) == STEEL * 1e6
    assert pytest.approx(table["grey cast iron"]) == CAST_IRON * 1e6
    assert pytest.approx(table["aluminium 6061"]) == ALUMINIUM * 1e6


def test_a_flat_sawn_maple_runner_from_winter_to_summer():
    """19 mm, 30 % to 65 % at 21.1 deg C: 6.17 to 11.96 percent, so it grows by 19 x 0.00353 x 5.79 = 0.388 mm
    and binds in a slot it had 0.1 mm of room in; quarter-sawn it grows by half of that."""
    winter, summer = Climate(21.1, 0.30), Climate(21.1, 0.65)
    flat = Moves(per_moisture=WOODS["maple, sugar"].tangential)
    quarter = Moves(per_moisture=WOODS["maple, sugar"].radial)
    assert size_in(19.0, flat, winter, summer) - 19.0 == pytest.approx(0.388, abs=0.001)
    assert clearance_in(19.1, 19.0, Moves(per_kelvin=CAST_IRON), flat, winter, summer) < 0.0
    grown = size_in(19.0, quarter, winter, summer) - 19.0
    assert grown == pytest.approx(0.388 * 165 / 353, abs=0.001)


def test_a_plastic_runner_in_the_sun_grows_by_heat_alone():
    plastic = Moves(per_kelvin=200e-6)
    assert size_in(19.0, plastic, Climate(15.0, 0.3), Climate(35.0, 0.9)) == pytest.approx(19.0 * (1 + 0.004))


def test_spacing_of_runners_under_a_panel():
    base = Moves(per_moisture=0.00007)
    shift = spacing_shift(280.0, Moves(per_kelvin=CAST_IRON), base, Climate(20.0, 0.30), Climate(20.0, 0.65))
    moisture = equilibrium_moisture(Climate(20.0, 0.65)) - equilibrium_moisture(Climate(20.0, 0.30))
    assert shift == pytest.approx(280.0 * 0.00007 * moisture)
    assert shift > 0.1


@given(climates, climates, st.floats(1.0, 600.0), st.floats(0.0, 0.005), st.floats(0.0, 3e-4))
def test_out_and_back_is_the_same_to_first_order_and_damper_is_larger(first, second, size, wet, warm):
    material = Moves(wet, warm)
    there = size_in(size, material, first, second)
    back = size_in(there, material, second, first)
    relative = (there - size) / size
    assert back == pytest.approx(size, rel=relative**2 + 1e-12)
    damper = Climate(first.temperature, min(0.98, first.relative_humidity + 0.02))
    assert equilibrium_moisture(damper) > equilibrium_moisture(first)
    assert size_in(size, material, first, first) == size


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: equilibrium_moisture(Climate(20.0, 50.0)), "fraction"),
        (lambda: equilibrium_moisture(Climate(float("nan"), 0.5)), "temperature"),
        (lambda: moisture_change(-1.0, 0.003, 6.0, 9.0), "width"),
    ],
)
def test_what_cannot_be_worked_out_says_why(call, says):
    with pytest.raises(GeometryError, match=says):
        call()
