"""Temperature and humidity of the shop, from the kernel's sensor files.

The files are those of the kernel's ABI documents: sysfs-bus-iio (in_temp_input in milli
degrees Celsius, in_humidityrelative_input in milli percent; without _input: (raw +
offset) x scale) and hwmon/sysfs-interface (temp1_input in milli degrees Celsius,
humidity1_input in milli percent). A sensor that measures humidity measures the air. One
that measures temperature alone counts only if its driver is one for probes, since most
of them sit on processors, disks and power supplies.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

PROBES = (
    "w1_slave_temp",
    "ds18b20",
    "tmp102",
    "tmp117",
    "lm75",
    "lm75a",
    "mcp9808",
    "adt7410",
    "si7055",
)
"""Drivers of probes that measure temperature alone."""

# beginnings of the names of their files
TEMPERATURES = ("in_temp", "in_temp_ambient", "temp1")
HUMIDITIES = ("in_humidityrelative", "humidity1")
# degrees Celsius; such sensors are specified for this range, and broken outside it
SENSOR_COLDEST, SENSOR_HOTTEST = -40.0, 85.0
# percent; a wet sensor shows more than 100, which is to be taken as that (data sheet of
# one that can show 119; from memory, as is the limit)
SENSOR_WETTEST = 110.0


class SensorReading(NamedTuple):
    """What one sensor measures: degrees Celsius, and percent of relative humidity; None
    for what it does not measure."""

    sensor: str
    temperature: float | None
    humidity: float | None


def read_climate(
    sys: Path = Path("/sys"), *, silent: bool = False
) -> list[SensorReading]:
    """Every sensor of the air that answers, by name; with silent, those too that do not
    or show what no air can be, of which neither figure is believed. Never raises; takes
    up to a second a sensor that stalls."""
    found = []
    for folder in _folders(sys):
        name = _text(folder / "name") or folder.name
        humidity = _first(folder, HUMIDITIES, 0.0, SENSOR_WETTEST)
        temperature = _first(folder, TEMPERATURES, SENSOR_COLDEST, SENSOR_HOTTEST)
        if any(list(folder.glob(f"{one}_*")) for one in HUMIDITIES):
            temperature = None if humidity is None else temperature
        elif name not in PROBES:
            continue
        found.append(
            SensorReading(name, temperature, humidity and min(humidity, 100.0))
        )
    return [one for one in found if silent or one[1:] != (None, None)]


def _folders(sys: Path) -> list[Path]:
    """Each sensor once, though some drivers show a chip in both trees."""
    seen: dict[Path, Path] = {}
    for pattern in ("bus/iio/devices/iio:device*", "class/hwmon/hwmon*"):
        for folder in sorted(sys.glob(pattern)):
            seen.setdefault((folder / "device").resolve(), folder)
    return list(seen.values())


def _first(
    folder: Path, names: tuple[str, ...], low: float, high: float
) -> float | None:
    """The first of these files with a value in that range."""
    values = (_milli(folder, name) for name in names)
    return next((v for v in values if v is not None and low <= v <= high), None)


def _milli(folder: Path, name: str) -> float | None:
    if (ready := _number(folder / f"{name}_input")) is not None:
        return ready / 1000.0
    raw, scale = _number(folder / f"{name}_raw"), _number(folder / f"{name}_scale")
    if raw is None or scale is None:
        return None
    return (raw + (_number(folder / f"{name}_offset") or 0.0)) * scale / 1000.0


def _text(path: Path) -> str | None:
    try:
        return path.read_text().strip()
    # a sensor at the end of a long wire does not answer always
    except (OSError, UnicodeDecodeError):
        return None


def _number(path: Path) -> float | None:
    try:
        return float(_text(path) or "")
    except ValueError:
        return None
