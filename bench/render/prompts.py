"""The sentences of a prompt: what the person at the saw is asked to do next."""

from __future__ import annotations

import msgspec

from bench.procedure.prompt import Prompt
from bench.render.template import sentence
from bench.units import System

TEMPLATES = {
    "cautions": "Read these, then press Enter.",
    "working-out": "Working it out.",
    "place": "{set_up}",
    "tap-rest": "Hands off everything: the number at rest is being taken.",
    "tap": (
        "Tap the indicator's post lightly with a finger, twice: the number must come"
        " back. Press Enter when it stands still."
    ),
    "lean": "Lean the sled to the {lean} within its play, hold it there, press Enter.",
    "mark": "Push to the mark at {at:place}, stop, press {press}, hold still.",
    "draw-back": "Draw back.",
    "reseat": "{reseat}",
    "again": "Let go, then the same again.",
    "sweep-rest": "Leave the sled at rest a moment, until the instruments are heard.",
    "sweep": "Push the sled, evenly, right through; stop; draw back.",
    "read": "Press {press} when it stands still.",
}


def prompt_words(ask: Prompt, units: System = "mm") -> str:
    """What `ask` asks for, in whole sentences."""
    values = {
        **msgspec.structs.asdict(ask),
        "press": f"the {ask.button}'s own button" if ask.button else "Enter",
    }
    return " ".join(sentence(TEMPLATES[code], values, units) for code in _codes(ask))


def _codes(ask: Prompt) -> list[str]:
    again = ["reseat"] if ask.taken and ask.reseat else []
    if ask.phase == "tap":
        return ["tap" if ask.enter else "tap-rest"]
    if ask.phase == "sweep":
        return [*again, "sweep"] if ask.ready else ["sweep-rest"]
    if ask.phase == "mark":
        back = ["draw-back", *again] if ask.mark == 1 and ask.taken else []
        return [*back, "mark"]
    if ask.phase in ("spot", "width"):
        # the set-up was told with the first
        return [*(again or ["again" if ask.taken else "place"]), "read"]
    return [ask.phase]
