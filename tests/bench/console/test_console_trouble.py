"""What the screen says of trouble: whose it is, until it is over, and not beside what it made untrue."""

from __future__ import annotations

import pytest

from bench.console.message_folding import fold
from bench.console.notices import NOTICES, NoticeLine, NoticeList
from bench.console.view_model import ViewModel
from bench.finding import UnreadableRecord
from bench.protocol import (
    InstrumentState,
    LogRows,
    Notice,
    PassNotice,
    Prompt,
    PromptChanged,
    StatusReply,
)

PORT = "/dev/serial/by-id/usb-gauge-if00-port0"


def instrument(state: str, words: str, **more: object) -> InstrumentState:
    return InstrumentState("indicator", "indicator", state, words, port=PORT, **more)


@pytest.fixture
def state() -> ViewModel:
    made = ViewModel(clock=lambda: 100.0)
    fold(made, instrument("open", f"{PORT} is open."))
    return made


def said(state: ViewModel) -> list[tuple[str, bool]]:
    return [(one.words, one.bad) for one in state.notices]


def test_a_cable_is_named_by_its_instrument_and_the_latest_words_stand(state: ViewModel) -> None:
    fold(state, instrument("absent", f"{PORT} went away (the cable was pulled)."))
    fold(state, instrument("absent", f"{PORT} is not there: is the cable plugged in?"))
    assert said(state) == [("The indicator's port is not there: is the cable plugged in?", True)]
    fold(state, instrument("open", f"{PORT} is open."))
    assert said(state) == [("The indicator is back.", False)]
    fold(state, instrument("absent", f"{PORT} went away (the cable was pulled)."))
    assert said(state) == [("The indicator's port went away (the cable was pulled).", True)]


def test_an_instrument_heard_first_is_not_said_to_be_back() -> None:
    made = ViewModel(clock=lambda: 100.0)
    first = instrument("absent", "Nothing is known of it yet.")
    fold(made, StatusReply("1", "log", "The log is written.", [first], None, []))
    fold(made, instrument("open", f"{PORT} is open."))
    assert said(made) == []


def test_trouble_stands_behind_mere_remarks_until_it_is_over(state: ViewModel) -> None:
    silent = "The indicator has sent nothing for 2 s: is it on?"
    fold(state, instrument("silent", silent))
    for _ in range(2):
        fold(state, Notice("travel", "One reading of the travel was not used."))
    assert said(state) == [("One reading of the travel was not used.", False), (silent, True)]
    state.say("error", "No check is in progress.", bad=True)  # an answer to a key is read
    assert said(state)[-1] == ("No check is in progress.", True)
    fold(state, instrument("open", "The indicator reads."))
    assert (silent, True) not in said(state) and said(state)[-1][0] == "The indicator is back."


def test_a_held_display_is_bad_news_till_it_reads_again(state: ViewModel) -> None:
    fold(state, instrument("open", "The indicator is on hold.", spoiled="hold"))
    fold(state, Notice("indicator", "The indicator is on hold."))
    assert said(state) == [("The indicator is on hold.", True)]
    fold(state, instrument("open", f"{PORT} is open."))
    fold(state, Notice("indicator", "The indicator reads again."))
    assert said(state) == [("The indicator reads again.", False)]


def test_a_pass_refused_afterwards_was_not_kept(state: ViewModel) -> None:
    fold(state, PassNotice("a", "handle-left", "kept", push=True, words="1 of 3 kept."))
    fold(state, PassNotice("a", "handle-left", "refused", words="The reading jumps by 2.5 mm."))
    assert said(state) == [("The reading jumps by 2.5 mm.", True)]
    assert state.passes == []  # nor is it drawn


def test_a_refused_pass_is_spoken_of_no_more_once_another_was_kept(state: ViewModel) -> None:
    fold(state, PassNotice("a", "handle-left", "refused", words="This pass cannot be used."))
    fold(state, PassNotice("b", "handle-left", "kept", push=True, words="1 of 3 kept."))
    assert said(state) == [("1 of 3 kept.", False)]


def test_no_more_are_kept_than_fit(state: ViewModel) -> None:
    some = NoticeList()
    for n in range(2 * NOTICES):
        some.add(NoticeLine("x", str(n)), ())
    assert [one.words for one in some] == [str(n) for n in range(NOTICES, 2 * NOTICES)]


def test_results_that_cannot_be_read_are_told_with_the_others(state: ViewModel) -> None:
    fold(state, LogRows([], unread=[UnreadableRecord("result", 3, "2026-01-05T10:00:00+00:00")]))
    words, bad = said(state)[-1]
    assert bad and words.startswith("1 result could not be read: number 3 (2026-01-05).")


def test_what_was_said_of_a_check_goes_with_it(state) -> None:
    """A travel that was not seen is no news once the check is given up; a cable that is out still is."""
    fold(state, PromptChanged("r1", "upright", "sled", Prompt(phase="sweep")))
    fold(state, InstrumentState("indicator", "indicator", "open", "reads"))
    fold(state, Notice("doubt", "No travel was seen since READY."))
    fold(state, InstrumentState("indicator", "indicator", "absent", "The indicator is not plugged in."))
    fold(state, PromptChanged(None))
    assert [one.about for one in state.notices] == ["indicator"]
