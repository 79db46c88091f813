"""What is told is heard too: each tone has a rhythm of its own, on the buzzer and on a terminal's bell."""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

import pytest

from bench.daemon.panel import PATTERN_OF
from bench.daemon.tones import FARTHEST_MM, Tones, nudge_interval, strokes
from bench.procedure.prompt import Prompt
from bench.protocol import (
    GearReply,
    GetGear,
    LiveMoveNotice,
    MarkNotice,
    NoFinding,
    Notice,
    PassNotice,
    PromptChanged,
    PutSound,
    SetupNotice,
    Tone,
    ToneName,
)
from bench.settings.settings_file import load
from hw.panel import PATTERNS

NAMES = get_args(ToneName)


def rhythm(name: str) -> tuple[bool | float, ...]:
    """How long each stroke and each silence lasts, whatever its pitch."""
    return tuple(
        part
        for pulse in PATTERNS[PATTERN_OF.get(name, name)].pulses
        for part in (pulse.pitch is not None, pulse.seconds)
    )


def test_no_two_tones_have_one_rhythm() -> None:
    assert len({rhythm(name) for name in NAMES}) == len(NAMES)


def test_no_two_of_the_five_ring_alike_on_a_bell() -> None:
    """A bell has strokes only: told apart by how many there are and how far apart."""
    five = [tuple(strokes(name)) for name in NAMES if name != "nudge"]
    assert len(set(five)) == 5
    for rung in five:
        assert rung[0] == 0.0 and all(b - a >= 0.09 for a, b in pairwise(rung))
    assert len({len(rung) for rung in five}) >= 4


@pytest.mark.parametrize(
    ("message", "name"),
    [
        (PassNotice("s", "p", "kept"), "accepted"),
        (PassNotice("s", "p", "refused"), "refused"),
        (PassNotice("s", "p", "measured"), "refused"),
        (PassNotice("s", "p", "running"), None),
        (PassNotice("s", "p", "back"), None),
        (MarkNotice("p", 25.0, 1, 9, 2.5), "accepted"),
        (Notice("tap", severity="warning"), "refused"),
        (Notice("lean", severity="note"), "accepted"),
        (Notice("clock", severity="warning"), None),
        (SetupNotice("leaf", "failed"), "refused"),
        (NoFinding("1"), "refused"),
        (PromptChanged(run="1", ask=Prompt("sweep")), None),
        (PromptChanged(run="1", ask=Prompt("sweep", ready=True)), "ready"),
    ],
)
def test_what_is_told_and_how_it_sounds(message, name) -> None:
    heard = Tones().tone_of(message)
    assert (heard.name if heard is not None else None) == name


def test_ready_is_heard_once_till_it_is_not_ready() -> None:
    tones = Tones()
    ready = PromptChanged(run="1", ask=Prompt("sweep", ready=True))
    assert tones.tone_of(ready) is not None
    assert tones.tone_of(ready) is None
    tones.tone_of(PromptChanged(run="1", ask=Prompt("place")))
    assert tones.tone_of(ready) is not None


def test_a_live_move_is_heard_faster_the_less_is_to_go() -> None:
    gaps = [nudge_interval(to_go) for to_go in (FARTHEST_MM, 0.1, 0.02, 0.0)]
    assert all(a > b for a, b in pairwise(gaps))
    tones = Tones()
    tones.tone_of(LiveMoveNotice(on=True, phase="go", to_go=FARTHEST_MM))
    heard = [tones.tick(0.1 * n) for n in range(40)]
    far = sum(tone is not None and tone.name == "nudge" for tone in heard)
    tones.tone_of(LiveMoveNotice(on=True, phase="go", to_go=0.01))
    near = sum(tones.tick(4.0 + 0.1 * n) is not None for n in range(40))
    assert 2 <= far <= 5 and near > 3 * far


def test_there_is_told_once_and_too_far_till_it_is_turned_back() -> None:
    tones = Tones()
    tones.tone_of(LiveMoveNotice(on=True, phase="go", to_go=0.0, there=True))
    said = [tones.tick(0.1 * n) for n in range(50)]
    assert [tone.name for tone in said if tone is not None] == ["there"]
    tones.tone_of(LiveMoveNotice(on=True, phase="go", to_go=0.05, past=True))
    said = [tones.tick(5.0 + 0.1 * n) for n in range(50)]
    assert {tone.name for tone in said if tone is not None} == {"too-far"} and len([t for t in said if t]) > 1
    tones.tone_of(LiveMoveNotice(on=False, phase="end"))
    assert tones.tick(20.0) is None


async def test_sound_is_switched_off_by_a_setting(first_bench) -> None:
    """What was heard with it is not heard without; the settings say so, and the buzzer is asked by the same."""
    async with first_bench() as bench:
        wire = await bench.talk()
        wire.send(GetGear())
        await bench.until(wire, GearReply)
        tell = bench.service.tell
        tell(PassNotice("s", "p", "refused"))
        await bench.until(wire, Tone, lambda m: m.name == "refused")
        wire.send(PutSound(on=False))
        await bench.until(wire, GearReply, lambda m: not m.sound)
        assert not load(bench.settings_file).sound
        heard = sum(isinstance(m, Tone) for m in wire.said)
        tell(PassNotice("t", "p", "refused"))
        wire.send(PutSound(on=True))
        await bench.until(wire, GearReply, lambda m: m.sound)
        assert sum(isinstance(m, Tone) for m in wire.said) == heard
