"""Sensor files as the kernel lays them out, in a folder; figures worked by hand from the sensors' data sheets."""

from __future__ import annotations

from pathlib import Path

import pytest

from hw.climate import SensorReading, read_climate


def sensor(sys: Path, where: str, **files: str) -> Path:
    folder = sys / where
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).write_text(text + "\n")
    return folder


def test_ready_made_figures(tmp_path: Path) -> None:
    sensor(
        tmp_path, "bus/iio/devices/iio:device0",
        name="bme280", in_temp_input="21370", in_humidityrelative_input="48213.867187500",
    )  # fmt: skip
    (found,) = read_climate(tmp_path)
    assert found == SensorReading("bme280", 21.37, pytest.approx(48.2139, abs=1e-4))


def test_raw_figures_are_scaled(tmp_path: Path) -> None:
    """14-bit capacitive sensor: T = 165 x raw/16384 - 40, RH = 100 x raw/16384; the driver's offset and scale."""
    sensor(
        tmp_path, "bus/iio/devices/iio:device1", name="hdc100x",
        in_temp_raw="24576", in_temp_offset="-15887.515151", in_temp_scale="2.517700195",
        in_humidityrelative_raw="32768", in_humidityrelative_scale="1.525878906",
    )  # fmt: skip
    (found,) = read_climate(tmp_path)
    assert found.temperature == pytest.approx(165 * 24576 / 65536 - 40, abs=1e-3)
    assert found.humidity == pytest.approx(100 * 32768 / 65536, abs=1e-3)


def test_hwmon_and_a_probe_on_a_wire(tmp_path: Path) -> None:
    sensor(tmp_path, "class/hwmon/hwmon0", name="cpu_thermal", temp1_input="58000")
    sensor(tmp_path, "class/hwmon/hwmon1", name="sht3x", temp1_input="19500", humidity1_input="55100")
    sensor(tmp_path, "class/hwmon/hwmon2", name="w1_slave_temp", temp1_input="18125")
    sensor(tmp_path, "class/hwmon/hwmon3", name="nvme", temp1_input="41850")
    assert read_climate(tmp_path) == [
        SensorReading("sht3x", 19.5, 55.1),
        SensorReading("w1_slave_temp", 18.125, None),
    ]


def test_a_chip_in_both_trees_is_one(tmp_path: Path) -> None:
    chip = tmp_path / "devices/i2c-1/1-0044"
    chip.mkdir(parents=True)
    for where in ("bus/iio/devices/iio:device0", "class/hwmon/hwmon0"):
        folder = sensor(
            tmp_path, where, name="sht4x", temp1_input="20000", humidity1_input="40000",
            in_temp_input="20000", in_humidityrelative_input="40000",
        )  # fmt: skip
        (folder / "device").symlink_to(chip)
    assert len(read_climate(tmp_path)) == 1


@pytest.mark.parametrize("text", ["", "nonsense", "999000", "-120000", "nan"])
def test_a_broken_sensor_says_nothing(tmp_path: Path, text: str) -> None:
    sensor(tmp_path, "class/hwmon/hwmon0", name="sht3x", temp1_input=text, humidity1_input="1e9")
    assert read_climate(tmp_path) == []
    assert read_climate(tmp_path, silent=True) == [SensorReading("sht3x", None, None)]


def test_a_wet_sensor_shows_more_than_all(tmp_path: Path) -> None:
    """Of -6 % and 125 % more (data sheet of the chip, from memory): what is over 100 % is to be taken as 100."""
    wet = sensor(tmp_path, "class/hwmon/hwmon0", name="sht4x", temp1_input="4000", humidity1_input="102998")
    assert read_climate(tmp_path) == [SensorReading("sht4x", 4.0, 100.0)]
    (wet / "humidity1_input").write_text("119000\n")  # its highest count, as of a wire that is always high
    assert read_climate(tmp_path) == []


def test_no_sensors(tmp_path: Path) -> None:
    assert read_climate(tmp_path) == []
    for found in read_climate():  # this machine, whatever it has
        assert found.temperature is not None or found.humidity is not None
