"""The sentences of a prompt: what the person at the saw is asked to do next."""

from __future__ import annotations

from typing import Any

import msgspec

from bench.checks.model import Focus
from bench.procedure.prompt import Prompt
from bench.render.template import sentence
from bench.units import System

TEMPLATES = {
    "cautions": "Read these, then press Enter.",
    "working-out": "Working it out.",
    "tap-rest": "Hands off everything: the number at rest is being taken.",
    "tap": (
        "Tap the indicator's post lightly with a finger, twice. Press Enter when the"
        " number stands still."
    ),
    "lean": "Lean the sled to the {lean} and hold it there.",
    "mark": "Push to the mark at {at:nominal} and stop.",
    "press": "Press Enter.",
    "press-hold": "Press {press}, hold still.",
    "draw-back": "Draw it back.",
    "reseat": "{reseat}",
    "again": "Lift off, then measure the same place again.",
    "sweep-rest": "Leave the {pushed} at rest a moment.",
    "sweep-sled": "Push the sled evenly, right through. Stop, then draw it back.",
    "sweep-indicator": "Push the indicator evenly along, right through. Draw it back.",
    "read": "Press {press} when it stands still.",
    "hold-still": "Hold it still: the number is being taken.",
    "by-itself": "The number is taken by itself when it holds still.",
}
FOCUS = {
    "turn": "{value:degrees}",
    "place": "{value:station}",
    "lean": "to the {side}",
    "twist": "twisted to the {side}",
    "end": "at the {side}",
}


def prompt_words(ask: Prompt, units: System = "mm") -> str:
    """The prompt in whole sentences."""
    values = {
        **msgspec.structs.asdict(ask),
        "press": f"the {ask.button}'s own button" if ask.button else "Enter",
    }
    return " ".join(_sentence(code, values, units) for code in _codes(ask))


def _sentence(code: str, values: dict[str, Any], units: System) -> str:
    # how a set-up is put up is declared by its check
    template = values["set_up"] if code == "place" else TEMPLATES[code]
    return sentence(template, values, units)


def focus_words(focus: Focus | None, units: System = "mm") -> str:
    """The one difference from the set-up before: `135 degrees`, `150 mm`."""
    if focus is None:
        return ""
    return sentence(FOCUS[focus.what], msgspec.structs.asdict(focus), units)


def _codes(ask: Prompt) -> list[str]:
    # a pass that was refused has left what is pushed at its far end, too
    tried = ask.taken or (ask.phase == "sweep" and ask.because is not None)
    again = ["reseat"] if tried and ask.reseat else []
    if ask.phase == "tap":
        return ["tap" if ask.enter else "tap-rest"]
    if ask.phase == "sweep":
        return [*again, f"sweep-{ask.pushed}"] if ask.ready else ["sweep-rest"]
    if ask.phase == "lean":
        return ["lean", "hold-still" if ask.waiting else "press"]
    if ask.phase == "mark":
        back = ["draw-back", *again] if ask.mark == 1 and ask.taken else []
        return [*back, "mark", "hold-still" if ask.waiting else "press-hold"]
    if ask.phase == "place":
        return ["place", "by-itself"] if ask.by_itself else ["place"]
    if ask.phase in ("spot", "width"):
        # the set-up was told with the first
        told = again or ["again" if ask.taken else "place"]
        return [*told, _taking(ask)]
    return [ask.phase]


def _taking(ask: Prompt) -> str:
    """The code of the sentence on how the number is taken."""
    if ask.waiting:
        return "hold-still"
    return "by-itself" if ask.by_itself else "read"
