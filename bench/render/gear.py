"""Gear as a user would write it in a settings file: keys and texts. Pure."""

from __future__ import annotations

from bench.gear import Jig, Saw, Square


def _length(mm: float) -> str:
    return f"{mm!r} mm"


def _slope(rad: float, over: float = 300.0) -> str:
    return f"{round(rad * over, 9)!r} mm per {over:g} mm"


def jig_texts(jig: Jig) -> dict[str, str | list[str]]:
    texts: dict[str, str | list[str]] = {
        "fence": jig.fence,
        "pivot": jig.pivot,
        "tolerance": _slope(jig.tolerance),
    }
    if jig.saw is not None:
        texts["saw"] = jig.saw
    if jig.hold is not None:
        texts["hold"] = jig.hold
    if jig.mitre is not None:
        texts |= {"mitre": jig.mitre, "mitre_pivot": jig.mitre_pivot}
    for key in (
        "pivot_to_blade",
        "pivot_to_screw",
        "pivot_to_stop",
        "screw_pitch",
        "widest_board",
        "runner_length",
    ):
        value = getattr(jig, key)
        if value is not None:
            texts[key] = _length(value)
    return texts


def saw_texts(saw: Saw) -> dict[str, str | list[str]]:
    texts: dict[str, str | list[str]] = {
        "rip_fence": saw.rip_fence,
        "parallel": _slope(saw.parallel, 150.0),
        "toe": _slope(saw.toe, 500.0),
        "wobble": _length(saw.wobble),
    }
    if saw.end_float is not None:
        texts["end_float"] = _length(saw.end_float)
    return texts


def square_texts(square: Square) -> dict[str, str | list[str]]:
    texts: dict[str, str | list[str]] = {}
    if square.arm is not None:
        texts["arm"] = _length(square.arm)
    if square.tolerance is not None:
        texts["tolerance"] = _length(square.tolerance)
    if square.long_edge is not None:
        texts["long_edge"] = _length(square.long_edge)
    return texts
