"""Gear as a user would write it in a settings file: keys and texts. Pure."""

from __future__ import annotations

from typing import Any

from bench.gear import Jig, Saw, Square

Texts = dict[str, str | list[str]]
# mm over which the slopes of each sort of gear are told
SLOPE_SPANS = {"tolerance": 300.0, "parallel": 150.0, "toe": 500.0}
LENGTH_KEYS = (
    *("pivot_to_blade", "pivot_to_screw", "pivot_to_stop", "screw_pitch"),
    *("widest_board", "runner_length", "wobble", "end_float", "arm", "long_edge"),
)


def _text(key: str, value: Any) -> str:
    if key in LENGTH_KEYS:
        return f"{value!r} mm"
    over = SLOPE_SPANS[key]
    return f"{round(value * over, 9)!r} mm per {over:g} mm"


def _texts(gear: Jig | Saw | Square, *keys: str) -> Texts:
    """Those that are known; a text as it is."""
    known = {key: getattr(gear, key) for key in keys}
    return {
        key: value if isinstance(value, str) else _text(key, value)
        for key, value in known.items()
        if value is not None
    }


def jig_texts(jig: Jig) -> Texts:
    mitre = ("mitre", "mitre_pivot") if jig.mitre is not None else ()
    keys = ("fence", "pivot", "tolerance", "saw", "hold", *mitre)
    return _texts(jig, *keys, *LENGTH_KEYS[:6])


def saw_texts(saw: Saw) -> Texts:
    return _texts(saw, "rip_fence", "parallel", "toe", "wobble", "end_float")


def square_texts(square: Square) -> Texts:
    """Its tolerance is a length over the whole arm."""
    texts = _texts(square, "arm", "long_edge")
    if square.tolerance is not None:
        texts["tolerance"] = f"{square.tolerance!r} mm"
    return texts
