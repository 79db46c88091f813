"""The symptoms at the sled or on the part in words, and the checks that tell."""

from __future__ import annotations

from typing import Any

from bench.checks import checks
from bench.cut.symptoms import SYMPTOMS, Symptom

SYMPTOM_WORDS = {
    "rip-pinched": "a rip cut drifts off, or is pinched at the rear",
    "always-out": "parts are out of square, always the same way",
    "varies": "parts are out of square, now one way, now the other",
    "long-boards-out": "short boards come out square, long ones do not",
    "binds-at-one-place": "the sled binds, always at one place",
    "binds-in-summer": "the sled binds in summer only",
    "rattles": "the sled rattles in its slots",
    "burnt-edge": "one side of the cut is burnt",
    "rough-edge": "the cut edge is rough or scored",
    "gap-in-joint": "a gap shows where two parts meet face to face",
    "was-square": "it was square last month",
}
SHOWN_WORDS = {
    "closes-at-rear": "whether the rip fence closes at the rear",
    "closes": "whether the rip fence presses the work onto the blade",
    "heel": "whether the blade's rear teeth touch the cut edge",
    "fence-out": "how far the sled fence is out, and which way",
    "bow": "whether the sled fence is bowed",
    "board-agrees": "whether a cut board says the same",
    "play": "how far the sled can shift and turn in its slots",
    "binding": "where the runners bind",
    "scatter": "how far passes differ from one another",
    "contact": "where on the sled fence each board rests",
    "tight-there": "which width or spacing is tight at that place",
    "wood-grown": "how far the runners have grown with the season",
    "loose": "how loose the runners are",
    "runout": "how far the saw plate runs out",
    "lean": "how far sled fence and blade lean",
    "across-width": "whether the board is square across its width",
    "moved": "whether the sled fence has moved since",
}
ACT_WORDS = {
    "stop-ripping": (
        "Stop ripping at once: the work can be thrown back. Switch the saw off"
        " and unplug it before you measure."
    ),
    "look-for-grit": "Look for grit on the sled fence and in the slots first.",
    "wax": "Clean the slots and wax the runners first.",
    "dull-blade": "Look for pitch and dull teeth first.",
    "see-drift": "`sweepgauge drift` shows what has changed since.",
}


def symptoms() -> list[dict[str, Any]]:
    """Each as plain JSON: name, seen, danger, act (or None) and the checks in order."""
    return [_plain(one) for one in SYMPTOMS]


def _plain(one: Symptom) -> dict[str, Any]:
    return {
        "name": one.name,
        "seen": SYMPTOM_WORDS[one.name],
        "danger": one.danger,
        "act": None if one.act is None else ACT_WORDS[one.act],
        "checks": [
            {"check": kind, "shows": SHOWN_WORDS[shows]}
            for kind, shows in one.checks
            if kind in checks()
        ],
    }


def symptom_lines(one: dict[str, Any]) -> list[str]:
    """One symptom for the command line, the danger or the plain act first."""
    lines = [f"{one['name']}: {one['seen']}"]
    if one["act"]:
        lines.append(f"  {'DANGER: ' if one['danger'] else ''}{one['act']}")
    for number, check in enumerate(one["checks"], 1):
        lines.append(f"  {number}. {check['check']}: shows {check['shows']}.")
    return lines
