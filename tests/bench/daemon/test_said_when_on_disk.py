"""The daemon is killed at the moment it says that something is kept: the log must hold it, however slow the disk."""

from __future__ import annotations

import random

import msgspec
import pytest

from bench.protocol import Abandon, Begin, Done, NoteMove, PassNotice, Press, PromptChanged, Undo

BEGIN = Begin("fence-square", sweeps=50)


def begun(bed, client) -> bool:
    client.send(Abandon(ref=1))
    client.send(msgspec.structs.replace(BEGIN, ref=2))
    run = bed.heard(client, PromptChanged, lambda m: m.ref == 2).run
    bed.kill()
    return bed.holds("SELECT 1 FROM check_run WHERE run = ? AND state = 'open'", run)


def acknowledged(bed, client) -> bool:
    client.send(Abandon(ref=1))
    client.send(BEGIN)
    client.send(Press(ref=3))
    bed.heard(client, Done, lambda m: m.ref == 3)
    bed.kill()
    return bed.holds(
        "SELECT 1 FROM event JOIN check_run USING (run_key) WHERE kind = 'acknowledged' AND run <> ?", bed.RUN
    )


def kept(bed, client) -> bool:
    client.send(Press())
    bed.heard(client, PromptChanged, lambda m: m.ask.ready)
    sweep = None
    while sweep is None:  # a push that a busy machine sends in jerks is refused, and done again
        bed.rig.go(150.0, speed=600.0)
        said = bed.heard(client, PassNotice, lambda m: m.state in ("kept", "refused"))
        if said.state == "kept":
            sweep = said.sweep
            bed.kill()
        else:
            bed.rig.go(0.0, speed=600.0)
            bed.heard(client, PromptChanged, lambda m: m.ask.ready)
    return bed.holds("SELECT 1 FROM sweep WHERE sweep = ? AND state = 'whole'", sweep)


def noted(bed, client) -> bool:
    client.send(NoteMove(ref=1))
    assert bed.heard(client, Done).text.startswith("Noted")
    bed.kill()
    return bed.holds("SELECT 1 FROM move WHERE made_json IS NOT NULL")


def taken_back(bed, client) -> bool:
    client.send(Undo(ref=1))
    assert "is taken back" in bed.heard(client, Done).text
    bed.kill()
    return bed.holds("SELECT 1 FROM sweep WHERE sweep = 'pass-2' AND state = 'undone'")


def given_up(bed, client) -> bool:
    client.send(Abandon(ref=1))
    assert "is given up" in bed.heard(client, Done).text
    bed.kill()
    return bed.holds("SELECT 1 FROM check_run WHERE run = ? AND state = 'abandoned'", bed.RUN)


WORDS = {f.__name__: f for f in (begun, acknowledged, kept, noted, taken_back, given_up)}


def lost(bed, word: str, kills: int, slow: tuple[float, float]) -> int:
    return sum(not WORDS[word](bed, bed.start(slow)) for _ in range(kills))


EVERYDAY = ("taken_back",)  # the others are said by the same outbox


@pytest.mark.parametrize(
    "word", [pytest.param(word, marks=() if word in EVERYDAY else pytest.mark.ci) for word in WORDS]
)
def test_what_was_said_is_in_the_log(word, bed) -> None:
    assert lost(bed, word, 1, (0.1, 0.2)) == 0


@pytest.mark.ci
@pytest.mark.parametrize("word", WORDS)
def test_on_a_disk_that_takes_a_second(word, bed) -> None:
    assert lost(bed, word, 1, (0.7, 1.0)) == 0


@pytest.mark.parametrize(
    "kills",
    [
        pytest.param(4, marks=pytest.mark.ci),
        pytest.param(200, marks=[pytest.mark.slow, pytest.mark.timeout(3600)]),
    ],
)
@pytest.mark.parametrize("word", WORDS)
def test_killed_at_each_word(word, kills, bed, figure) -> None:
    """0 to 200 ms a sync."""
    random.seed(kills)
    missing = lost(bed, word, kills, (0.0, 0.2))
    figure(f"killed at the word: {word}", {"kills": kills, "lost": missing}, {"lost": 0}, good=missing == 0)
