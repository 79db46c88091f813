"""What `watch --plain` says, to whom hears it read out: what is so now, not what was so a minute ago."""

from __future__ import annotations

import pytest

from bench.cli import watch
from bench.cli.common import CommandError
from bench.procedure.prompt import Prompt
from bench.protocol import InstrumentState, Notice, PassNotice, PromptChanged, Readings, StatusReply

HELD = "The indicator is on hold."


@pytest.fixture
def plain(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """Hears messages at a time of our own; gives the lines said so far."""
    now = [100.0]
    monkeypatch.setattr(watch.time, "monotonic", lambda: now[0])

    def hear(units: str, *messages: tuple[float, object]) -> list[str]:
        output = watch._Sentences(units, None)
        for after, message in messages:
            now[0] += after
            output.show(message)
        return capsys.readouterr().out.splitlines()

    return hear


def state(state: str, words: str) -> InstrumentState:
    return InstrumentState("indicator", "indicator", state, words)


def test_states_that_come_faster_than_sentences_are_not_told_late(plain) -> None:
    flapping = [(0.05, state("silent", f"Silent {n}.")) for n in range(100)]
    said = plain("mm", *flapping, (0.0, state("open", "/dev/x is open.")), *[(1.1, None)] * 3)
    assert said[-1] == "indicator: /dev/x is open." and len(said) < 10


def test_the_same_sentence_is_told_once(plain) -> None:
    said = plain("mm", (0.0, state("open", HELD)), (2.0, Notice("indicator", HELD)), (2.0, None))
    assert said == [HELD]


@pytest.mark.parametrize(
    ("units", "says"), [("mm", "indicator reads 12.700 mm."), ("inch", "indicator reads 0.5000 in.")]
)
def test_numbers_are_in_the_users_unit(plain, units: str, says: str) -> None:
    assert plain(units, (0.0, Readings("indicator", 0, [1.0], [12.7], "mm", []))) == [says]


def test_an_instrument_that_is_none_is_named(plain) -> None:
    there = [state("open", "/dev/x is open.")]
    with pytest.raises(CommandError, match=r"no instrument is called 'indicater'; there are: indicator"):
        watch.refuse_unknown(StatusReply("sweepgauge", "log", "recording", there, None, []), "indicater")
    watch.refuse_unknown(StatusReply("sweepgauge", "log", "recording", there, None, []), "indicator")
    watch.refuse_unknown(
        StatusReply("sweepgauge", "log", "recording", [], None, []), "caliper"
    )  # may yet come


def test_trouble_and_a_pass_that_does_not_count_do_not_wait_and_old_asks_are_not_told(plain) -> None:
    """Sentences come one a second: whoever hears them must not push a sled whose cable is out."""
    said = plain(
        "mm",
        (0.0, Notice("", "Told at once.")),
        *[(0.0, Notice("", f"Remark {n}.")) for n in range(3)],
        *[
            (0.1, PromptChanged(run="r", ask=Prompt("sweep", words)))
            for words in ("Stand it.", "Wait.", "Push.")
        ],
        (0.1, state("absent", "The indicator went away.")),
        (0.0, PassNotice("s", "handle-left", "refused", words="This pass cannot be used.")),
        *[(1.1, None)] * 8,
    )
    remarks = [f"Remark {n}." for n in range(3)]
    assert said == [
        "Told at once.",
        "The indicator went away.",
        "This pass cannot be used.",
        *remarks,
        "Push.",
    ]
