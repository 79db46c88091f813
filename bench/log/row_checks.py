"""Checks whether a row read out of a damaged log is still as it was written."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable

from bench.log import packing


def row_is_sound(table: str, row: dict[str, object]) -> bool:
    """Whether the row's own checks agree: checksums, lengths, JSON."""
    check = _CHECKS.get(table)
    try:
        return check is None or check(row)
    except (ValueError, TypeError, KeyError, zlib.error):
        return False


def _sound_trace(row: dict[str, object]) -> bool:
    columns = [row["travel_mm_packed"], row["reading_mm_packed"], row["at_s_packed"]]
    lengths = {
        len(packing.unpack_floats(column))
        for column in columns
        if isinstance(column, bytes)
    }
    return lengths == {row["readings"]}


def _sound_reading(row: dict[str, object]) -> bool:
    raw, times = row["raw_zlib"], row["arrival_us_packed"]
    if not isinstance(raw, bytes) or not isinstance(times, bytes):
        return False
    lengths = (len(zlib.decompress(raw)), len(packing.unpack_integers(times)))
    return lengths == (row["raw_bytes"], row["readings"])


def _sound_chunk(row: dict[str, object]) -> bool:
    times = row["arrival_us_packed"]
    return (
        isinstance(times, bytes)
        and len(packing.unpack_integers(times)) == row["readings"]
    )


def _sound_finding(row: dict[str, object]) -> bool:
    return (
        zlib.crc32(f"{row['finding_json']}{row['evidence_json']}".encode())
        == row["crc32"]
    )


def _json_in(*columns: str) -> Callable[[dict[str, object]], bool]:
    def check(row: dict[str, object]) -> bool:
        return all(isinstance(json.loads(str(row[column])), dict) for column in columns)

    return check


_CHECKS: dict[str, Callable[[dict[str, object]], bool]] = {
    "gear": _json_in("gear_json"),
    "check_run": _json_in("options_json"),
    "event": _json_in("data_json"),
    "trace": _sound_trace,
    "sweep": _json_in("wires_json"),
    "chunk": _sound_chunk,
    "reading": _sound_reading,
    "finding": _sound_finding,
    "move": _json_in("move_json"),
}
