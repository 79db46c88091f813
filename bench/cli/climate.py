"""The shop's air as a person types it in."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from bench.cli.common import Complaint

if TYPE_CHECKING:
    from bench.finding import Climate

_TEMPERATURE = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?) *(?:DEG *|° *)?([CF]?)")


def typed_climate(temperature: str | None, humidity: str | None) -> Climate | None:
    """None where neither was typed. Raises Complaint."""
    from bench.finding import Climate
    from bench.units import UnitsError, parse_share

    if temperature is None and humidity is None:
        return None
    try:
        share = None if humidity is None else parse_share(humidity)
    except UnitsError as error:
        raise Complaint(f"--humidity: {error}") from error
    return Climate(None if temperature is None else _celsius(temperature), share)


def _celsius(text: str) -> float:
    found = _TEMPERATURE.fullmatch(text.strip().upper())
    if found is None:
        raise Complaint(f'--temperature: {text!r} is none; "21 C" or "70 F" would do')
    number = float(found[1].replace(",", "."))
    return (number - 32) / 1.8 if found[2] == "F" else number
