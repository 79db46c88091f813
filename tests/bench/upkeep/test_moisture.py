"""Moisture content of wood against the Wood Handbook's table and equation."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.finding import Climate
from bench.upkeep.moisture import equilibrium_moisture, moisture

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"


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
                assert equilibrium_moisture(celsius, humidity) == pytest.approx(float(value), abs=0.06)
                checked += 1
    assert checked == 171


def test_the_equation_at_its_check_values():
    for check in json.loads((REFERENCE / "wood_emc_equation.json").read_text())["check_values"]:
        found = equilibrium_moisture(check["T_degC"], check["rh_percent"] / 100.0)
        assert found == pytest.approx(check["mc_percent"], abs=6e-7)


@given(st.floats(0.0, 40.0), st.floats(0.05, 0.95))
def test_damper_air_makes_damper_wood(celsius, humidity):
    assert equilibrium_moisture(celsius, humidity + 0.02) > equilibrium_moisture(celsius, humidity)


def test_humidity_alone_is_enough_and_temperature_alone_is_not():
    assert moisture(Climate(None, 0.5)) == equilibrium_moisture(20.0, 0.5)
    assert moisture(Climate(20.0, None)) is None
    assert moisture(None) is None


@pytest.mark.parametrize(
    ("celsius", "humidity", "says"), [(20.0, 50.0, "fraction"), (float("nan"), 0.5, "temperature")]
)
def test_what_cannot_be_worked_out_says_why(celsius, humidity, says):
    with pytest.raises(ValueError, match=says):
        equilibrium_moisture(celsius, humidity)
