"""The sentences of prompts: every phase has its own, and every template is used by one."""

from __future__ import annotations

from itertools import product
from typing import get_args

import pytest

from bench.procedure.prompt import Phase, Prompt
from bench.procedure.status_message import StatusMessage
from bench.render import prompts
from bench.render.prompts import prompt_words

NEVER = {"done"}  # a phase of the contract that is not asked for any more
BROKEN = StatusMessage("pass-interrupted", {"name": "indicator", "how": "away"})


def asks() -> list[Prompt]:
    return [
        Prompt(
            phase,
            enter=enter,
            ready=ready,
            taken=taken,
            at=75.0,
            mark=mark,
            marks=3,
            lean="left",
            set_up="Put it.",
            reseat=reseat,
            by_itself=more,
            waiting=more and ready,
            pushed="indicator" if more else "sled",
        )
        for phase, enter, ready, taken, mark, reseat, more in product(
            set(get_args(Phase)) - NEVER,
            (True, False),
            (True, False),
            (0, 1),
            (1, 2),
            (None, "Seat it anew."),
            (True, False),
        )
    ]


def test_every_phase_has_a_sentence_and_every_template_a_phase() -> None:
    assert {code for ask in asks() for code in prompts._codes(ask)} == prompts.TEMPLATES.keys() | {"place"}
    assert all(prompt_words(ask).endswith(".") for ask in asks())


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (Prompt("tap", enter=False), "Hands off everything: the number at rest is being taken."),
        (Prompt("sweep"), "Leave the sled at rest a moment."),
        (
            Prompt("sweep", ready=True, taken=1, reseat="Seat the square anew."),
            "Seat the square anew. Push the sled evenly, right through. Stop, then draw it back.",
        ),
        (
            Prompt("sweep", ready=True, pushed="indicator", reseat="Draw it back first.", because=BROKEN),
            "Draw it back first. Push the indicator evenly along, right through. Draw it back.",
        ),
        (
            Prompt("mark", at=25.0, mark=1, marks=2, taken=1, reseat="Seat the square anew."),
            "Draw it back. Seat the square anew. Push to the mark at 25 mm and stop. Press Enter, hold still.",
        ),
        (Prompt("lean", lean="left"), "Lean the sled to the left and hold it there. Press Enter."),
        (  # Enter was pressed
            Prompt("lean", lean="left", waiting=True),
            "Lean the sled to the left and hold it there. Hold it still: the number is being taken.",
        ),
        (
            Prompt("mark", at=25.0, mark=1, marks=2, waiting=True),
            "Push to the mark at 25 mm and stop. Hold it still: the number is being taken.",
        ),
        (
            Prompt("width", set_up="Measure it.", button="caliper"),
            "Measure it. Press the caliper's own button when it stands still.",
        ),
        (
            Prompt("spot", taken=1, reseat="Turn the blade back."),
            "Turn the blade back. Press Enter when it stands still.",
        ),
    ],
)
def test_what_is_asked_in_words(ask: Prompt, words: str) -> None:
    assert prompt_words(ask) == words


def test_a_place_is_told_in_the_units_of_whoever_reads_it() -> None:
    assert "the mark at 2 in and stop" in prompt_words(Prompt("mark", at=50.8, mark=2, marks=3), "inch")
