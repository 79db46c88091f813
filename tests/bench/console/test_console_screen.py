"""The screen on a scripted daemon: what stands on it at every size, what keys send, what it does when left alone."""

from __future__ import annotations

import asyncio

import msgspec
import pytest
from everyday import ci
from msgspec.structs import replace
from textual import events
from textual.widgets import OptionList

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.checks.options import HOLD
from bench.console import requests
from bench.console.app import AGE_PERIOD_S, make_console
from bench.console.contents.result import further_words
from bench.console.first_start import Guide
from bench.console.greeting import LIVE_RATE_HZ, REST_RATE_HZ
from bench.console.instrument_view import FRESH_S
from bench.console.message_folding import fold
from bench.console.requests import Requests
from bench.console.screens import confirm
from bench.console.screens.check_form import CheckForm
from bench.console.screens.sled_form import SledForm, typed_jig
from bench.console.view_model import ViewModel
from bench.console.widgets.viewer import TextPanel
from bench.finding import Remark, Settle
from bench.moves.alignment import CLOSES
from bench.protocol import (
    Abandon,
    Begin,
    Error,
    Extend,
    FindingNotice,
    FittedPass,
    LiveMoveNotice,
    LiveMoveRequest,
    LogList,
    NoteMove,
    Notice,
    PassNotice,
    Points,
    Press,
    Prompt,
    PromptChanged,
    PutJig,
    PutLeaves,
    Quantity,
    SavedNotice,
    StatusMessage,
    Undo,
    Watch,
    question,
)

LOOKS = [((80, 24), "shop"), ((40, 15), "tube"), pytest.param((160, 48), "pencil", marks=pytest.mark.ci)]


# ---- what stands on it ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("size", "look"), LOOKS)
async def test_a_result_shows_number_unit_way_state_and_next_act(fake, scenes, size, look) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=size, look=look) as (app, pilot):
        text = await scenes.until(pilot, lambda t: "away" in t and "make the move" in t)
        scenes.inside(app, size)
        assert "OUT" in text and "big-sled" in text
        assert "eft end too near you" in text
        assert "0.120 mm" in text and "400 mm" in text
        assert "Move the left end 0.14 mm away from" in " ".join(text.split())
        assert "Enter  make the move" in text
        if look == "tube":
            text.encode("cp437")


async def test_fewer_cautions_than_the_last_time_are_read_at_once(fake, scenes) -> None:
    """The second check of the day asks for one only: nothing is below the edge, and no key says so."""

    def asked(cautions: list[str]) -> PromptChanged:
        ask = Prompt(phase="cautions", words="Read.", enter=True, steps=2, cautions=cautions)
        return PromptChanged("r1", "fence-square", "big-sled", ask)

    async with scenes.screen(fake) as (_app, pilot):
        for cautions in (scenes.cautions, scenes.cautions[:1]):
            fake.say(asked(cautions))
            text = await scenes.until(pilot, lambda t: "READ FIRST" in t)
            await scenes.until(pilot, lambda t: "I have read it" in t and "read on" not in t)
            fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.place))
            await scenes.until(pilot, lambda t: "SET UP" in t)
            fake.say(PromptChanged(None))
            text = await scenes.until(pilot, lambda t: "begin a check" in t)
        assert text


async def test_cautions_are_read_to_the_end_before_enter_counts(fake, scenes) -> None:
    fake.run = scenes.running(
        Prompt(phase="cautions", words="Read.", enter=True, steps=2, cautions=scenes.cautions)
    )
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        seen = await scenes.until(pilot, lambda t: "Enter  read on" in t)
        for _ in range(9):
            if "I have read it" in seen:
                break
            assert not fake.of(Press)
            await pilot.press("enter")
            await pilot.pause()
            seen += "\n".join(scenes.rows(app))
        for caution in scenes.cautions:
            assert caution.split()[-1] in seen
        await pilot.press("enter")
        await pilot.pause()
        assert len(fake.of(Press)) == 1


async def test_nothing_measured_yet_says_how_to_begin(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "Enter  begin a check" in t)
        # once
        assert text.lower().count("nothing measured") == 1
        fake.jigs = []
    fake.instruments = []
    app = make_console(fake.path)
    async with app.run_test(size=(80, 24)) as pilot:
        await scenes.until(pilot, lambda t: "no instrument" in t and "press its plunger" in t)


async def test_inches_where_the_user_works_in_inches(fake, scenes) -> None:
    fake.units = "inch"
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "in indicator" in t)
        assert "thou" in text and " mm" not in text.replace("mm.", "")


# ---- the line -----------------------------------------------------------------------------------------------


async def test_the_line_grows_and_readings_set_aside_become_crosses(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    travel = [2.0 * n for n in range(100)]
    reading = [2.4 + 0.0003 * s for s in travel]
    async with scenes.screen(fake) as (app, pilot):
        fake.say(PassNotice("a", "handle-left", "running"), Points("a", travel[:50], reading[:50]))
        await scenes.until(pilot, lambda t: any("\u2801" <= c <= "\u28ff" for c in t))
        assert "×" not in "\n".join(scenes.rows(app))
        fake.say(Points("a", travel[50:], reading[50:]))
        fake.say(PassNotice("a", "handle-left", "kept", True, 2, 3, 100, 0.0003, 198.0, "2 of 3 kept."))
        await scenes.until(pilot, lambda t: "2 of 3 kept." in t)
        assert len(app.view.passes[0].travel) == 100
        aside = [r + (0.04 if n in (20, 21) else 0.0) for n, r in enumerate(reading)]
        fake.say(FittedPass("a", "handle-left", True, travel, aside, [20, 21], 0.0003, 2.4))
        await scenes.until(pilot, lambda t: "×" in t and "left out" in t)
        fake.say(PassNotice("a", "handle-left", "undone", True, 1, 3, words="Taken back by hand."))
        await scenes.until(pilot, lambda t: "×" not in t and "Taken back" in t)


# ---- keys ---------------------------------------------------------------------------------------------------


PAD = {"Enter", "+", "-", "*", "/", ".", *"0123456789"}


def screen_text(app) -> dict[str, str]:
    """The keys of the screen that are told, with their words."""
    return {
        active.binding.key_display or active.binding.key: active.binding.description
        for active in app.screen.active_bindings.values()
        if active.binding.show
    }


@pytest.mark.ci
async def test_every_key_that_is_told_is_on_the_number_pad(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=(160, 48)) as (app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t)
        for keys in ([], ["1"], ["1", "1"], ["4"], ["6"], ["7"], ["8"]):
            await pilot.press(*keys)
            assert set(screen_text(app)) <= PAD, keys
            app.go_home()
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t)
        assert set(screen_text(app)) <= PAD


async def test_the_list_of_all_keys_lists_every_action_and_takes_it(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t)
        words = {a.binding.description for a in app.screen.active_bindings.values() if a.binding.show}
        await pilot.press("slash")
        text = await scenes.until(pilot, lambda t: "All keys" in t)
        assert words and all(word in text for word in words)
        assert app.screen.rows()[0].words != "leave at once"  # Enter pressed unread does no harm
        await pilot.press("3")
        await scenes.until(pilot, lambda t: "What limits" in t)
        await pilot.press("full_stop", "1")
        await scenes.until(pilot, lambda t: "Which check?" in t)
        await pilot.press("slash")
        text = await scenes.until(pilot, lambda t: "All keys" in t)
        assert "Scroll" not in text and "pageup" not in text  # the arrows need no words


@pytest.mark.ci
async def test_the_palette_does_what_the_keys_do(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t)
        commands = {one.title for one in app.get_system_commands(app.screen)}
        assert {"Check", "Again", "Move", "Live", "Limits", "Log", "Sleds", "Settings", "Leave"} <= commands


@pytest.mark.ci
async def test_a_check_is_chosen_with_its_options_and_begun(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("1")
        text = await scenes.until(pilot, lambda t: "Which check?" in t)
        assert "Is the sled fence square to the cut?" in text
        assert "Not now: no caliper is set up." in text
        await pilot.press("3")  # not now: it does nothing
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Passes in each set-up: as usual" in t)
        await pilot.press("2", "2", "4", "5")  # five passes, tapped; which set-ups
        await scenes.until(pilot, lambda t: "Passes in each set-up: 5" in t and "handle left" in t)
        await pilot.press("6")  # what is seldom told
        await pilot.press("7", *"19.75", "enter")  # a bare number is in the user's own unit
        await scenes.until(pilot, lambda t: "Length of the runners: 19.75 mm" in t)
        await pilot.press("1")
        await scenes.until(pilot, lambda _: fake.of(Begin))
    (begin,) = fake.of(Begin)
    assert (begin.check, begin.jig, begin.sweeps) == ("fence-square", "big-sled", 5)
    assert (begin.lean, begin.tap) == (True, True)
    assert begin.options == {"placements": "handle-left", "runner_length": 19.75}


@pytest.mark.ci
async def test_the_form_shows_what_applies_and_a_wrong_value_stays_at_its_field(fake, scenes) -> None:
    def rows(app) -> list[str]:
        return [row.words for row in app.screen.rows()]

    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Which check?" in t)
        await pilot.press("2")
        await scenes.until(pilot, lambda t: "Show more questions: 2" in t)
        await pilot.press("2")
        await scenes.until(pilot, lambda t: "Place of the spot at the rear" in t)
        assert rows(app) == ["Begin", "Sweeps at so many even turns", "Place of the spot at the rear"]
        await pilot.press("2", "9", "9", "enter")
        await scenes.until(pilot, lambda t: "It takes a whole number from 1 to 72, not '99'." in t)
        await pilot.press("minus", "enter")  # the number pad's only key to rub out with
        await scenes.until(pilot, lambda t: "Passes in each set-up" in t)
        assert rows(app) == [
            "Begin",
            "Passes in each set-up",
            "Lean test",
            "Tap test",
            "Sweeps at so many even turns",
            "How far it slips",
        ]
        await pilot.press("1")
        await scenes.until(pilot, lambda _: fake.of(Begin))
    (begin,) = fake.of(Begin)
    assert begin.options == {"turns": 9}


async def test_what_the_daemon_refuses_is_said_as_a_sentence(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        fake.say(Error("wrong-use", "no indicator is set up: name its port in the settings"))
        await scenes.until(pilot, lambda t: "! No indicator is set up: name its port in the settings." in t)


async def test_enter_answers_only_what_is_asked(fake, scenes) -> None:
    """An Enter that nobody asked for would answer the next question unread."""
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        await pilot.press("enter")
        await pilot.pause()
        assert not fake.of(Press)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.place))
        await scenes.until(pilot, lambda t: "SET UP" in t)
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: fake.of(Press))
        (press,) = fake.of(Press)
        assert press.waits is False


HAND_S = question.HAND_S  # the tests' own hands are quicker, see conftest


async def test_an_answer_that_no_hand_can_give_yet_is_not_taken(fake, scenes, monkeypatch) -> None:
    """A second tap after `lean left` says nothing of `lean right`, and the screen says that it was not taken."""
    now = [100.0]
    monkeypatch.setattr(requests, "monotonic", lambda: now[0])
    monkeypatch.setattr(question, "HAND_S", HAND_S)
    left = msgspec.structs.replace(scenes.place, phase="lean", words="Lean it to the left.", lean="left")
    right = msgspec.structs.replace(left, words="Lean it to the right.", lean="right")
    fake.run = scenes.running(left)
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "to the left" in t)
        now[0] += 1.0
        await pilot.press("enter")
        assert len(fake.of(Press)) == 1
        fake.say(PromptChanged("r1", "fence-square", "big-sled", right))
        await scenes.until(pilot, lambda t: "to the right" in t)
        now[0] += 0.4
        await pilot.click("#act-0")
        await scenes.until(pilot, lambda t: "Not taken" in t and "too soon" in t)
        assert len(fake.of(Press)) == 1
        now[0] += 0.5
        await pilot.press("enter")
        assert len(fake.of(Press)) == 2
        push = msgspec.structs.replace(scenes.push, taken=0)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", push))
        await scenes.until(pilot, lambda t: "READY" in t and "Not taken" not in t)


async def test_there_is_answered_as_soon_as_it_is_seen(fake, scenes, monkeypatch) -> None:
    """The screw was turned before Enter was asked for; but tightening is an act of its own."""
    now = [100.0]
    monkeypatch.setattr(requests, "monotonic", lambda: now[0])
    monkeypatch.setattr(question, "HAND_S", HAND_S)
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        go = LiveMoveNotice(True, "go", "0.05 mm to go.", False, "left", "away", 0.05, target=0.144)
        fake.say(go)
        await scenes.until(pilot, lambda t: "0.05 mm to go." in t)
        now[0] += 5.0
        fake.say(replace(go, enter=True, there=True, to_go=0.0, words="It holds."))
        await scenes.until(pilot, lambda t: "It holds." in t)
        now[0] += 0.4
        await pilot.press("enter")
        assert len(fake.of(Press)) == 1
        fake.say(replace(go, phase="tighten", enter=True, words="Tighten."))
        await scenes.until(pilot, lambda t: "Tighten." in t)
        now[0] += 0.4
        await pilot.press("enter")
        await scenes.until(pilot, lambda t: "too soon" in t)
        assert len(fake.of(Press)) == 1


async def test_the_tap_that_ended_a_check_does_not_begin_the_next(fake, scenes, monkeypatch) -> None:
    now = [100.0]
    monkeypatch.setattr(requests, "monotonic", lambda: now[0])
    monkeypatch.setattr(question, "HAND_S", HAND_S)
    mark = msgspec.structs.replace(scenes.push, phase="mark", enter=True, mark=9, marks=9)
    fake.run = scenes.running(mark)
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "take it" in t)
        now[0] += 1.0
        await pilot.press("enter")
        fake.say(FindingNotice("r1", scenes.finding("cannot-tell")))
        await scenes.until(pilot, lambda t: "more in each set-up" in t)
        now[0] += 0.4
        await pilot.press("enter")
        await scenes.until(pilot, lambda t: "too soon" in t)
        assert not fake.of(Extend)
        now[0] += 0.5
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: fake.of(Extend))
        assert len(fake.of(Extend)) == 1


async def test_a_held_enter_answers_once_and_not_what_comes_next(fake, scenes, monkeypatch) -> None:
    """A terminal repeats a held key; the set-up after the cautions would be answered unread."""
    now = [100.0]
    monkeypatch.setattr(requests, "monotonic", lambda: now[0])
    fake.run = scenes.running(scenes.place)
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "SET UP" in t)
        for n in range(20):
            await pilot.press("enter")
            now[0] += 0.03
            fake.say(PromptChanged("r1", "fence-square", "big-sled", replace(scenes.place, step=n % 2)))
        await pilot.pause()
        assert len(fake.of(Press)) == 1
        now[0] += 1.0  # let go, read, and pressed
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: len(fake.of(Press)) == 2)


@pytest.fixture
def later(monkeypatch) -> list[float]:
    """The clock of questions, put on by hand."""
    now = [100.0]
    monkeypatch.setattr(confirm, "monotonic", lambda: now[0])
    return now


@pytest.mark.parametrize("yes", ["enter", ci("y")])
async def test_undo_and_giving_up_which_asks_first(fake, scenes, later, yes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        await pilot.press("0", "9")
        text = await scenes.until(pilot, lambda t: "Give up this check?" in t)
        assert "stays in the log" in " ".join(text.replace("│", "").split()) and "Enter  yes" in text
        for _ in range(5):  # held, or pressed again and again: no answer
            later[0] += 0.5
            await pilot.press("9")
        await pilot.press(yes)  # together with it: a hand on the number pad
        assert not fake.of(Abandon)
        later[0] += 0.5
        await pilot.press(yes)
        await pilot.pause()
        assert len(fake.of(Undo)) == 1 and len(fake.of(Abandon)) == 1
        assert not fake.of(Press)


LEANED = {"phase": "lean", "ready": False, "enter": True, "waiting": True}


@pytest.mark.parametrize(
    ("key", "change"), [("enter", LEANED), *map(ci, (("space", LEANED), ("enter", {}), ("space", {})))]
)
async def test_enter_takes_nothing_back_where_it_is_not_asked_for(fake, scenes, key, change) -> None:
    fake.run = scenes.running(msgspec.structs.replace(scenes.push, **change))
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "undo pass" in t and "1 of 3 kept" in t)
        await pilot.press(key, key, key)
        await pilot.press("0")  # the key that does take back: all before it was handled
        await scenes.until(pilot, lambda _: bool(fake.of(Undo)))
        assert len(fake.of(Undo)) == 1 and not fake.of(Press)


async def test_no_takes_the_question_back(fake, scenes, later) -> None:
    fake.run = scenes.running(msgspec.structs.replace(scenes.push, enter=True))
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        await pilot.press("9", "0")
        await scenes.until(pilot, lambda t: "Give up this" not in t and "READY" in t)
        later[0] += 1.0
        await pilot.press("enter")
        await pilot.pause()
        assert len(fake.of(Press)) == 1 and not fake.of(Undo) and not fake.of(Abandon)


async def test_the_key_that_asked_does_not_answer(fake, scenes, later) -> None:
    """Enter on the list of all keys asks; only another key says yes."""
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        await pilot.press("slash")
        await scenes.until(pilot, lambda t: "All keys" in t)
        words = [row.words for row in app.screen.rows()]
        app.screen.query_one(OptionList).highlighted = next(n for n, w in enumerate(words) if "give up" in w)
        for _ in range(3):
            await pilot.press("enter")
            later[0] += 1.0
        assert not fake.of(Abandon)
        await scenes.until(pilot, lambda t: "Y  yes" in t)
        await pilot.press("y")
        await pilot.pause()
        assert len(fake.of(Abandon)) == 1


async def test_a_live_move_is_left_by_two_keys(fake, scenes, later) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        fake.say(LiveMoveNotice(True, "go", "0.05 mm to go.", False, "left", "away", 0.052, target=0.144))
        await scenes.until(pilot, lambda t: "LIVE" in t)
        for _ in range(3):
            await pilot.press("5")
            later[0] += 1.0
        assert not fake.of(LiveMoveRequest)
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: fake.of(LiveMoveRequest))
        (live,) = fake.of(LiveMoveRequest)
        assert live.on is False


async def test_the_move_with_leaves_then_the_proof(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("enter")
        text = await scenes.until(pilot, lambda t: "The move" in t)
        assert "Leaves: 0.10 mm + 0.04 mm." in text and "480 mm from the pivot" in text
        await pilot.press("2")
        text = await scenes.until(pilot, lambda t: "The move is noted." in t)
        assert "CHECK AGAIN" in text and "before the move" in text and " OUT " not in text
        (moved,) = fake.of(NoteMove)
        assert (moved.finding, moved.how) == ("f1", "leaves")
        assert moved.distance == pytest.approx(0.14)
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: fake.of(Begin))
        (begin,) = fake.of(Begin)
        assert (begin.check, begin.jig, begin.verifies) == ("fence-square", "big-sled", "f1")


async def test_the_move_made_live(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("5", "1")
        await scenes.until(pilot, lambda _: fake.of(LiveMoveRequest))
        (live,) = fake.of(LiveMoveRequest)
        assert (live.touches, live.stands, live.finding) == ("fence", "beyond", "f1")
        fake.say(
            LiveMoveNotice(True, "lean", "Lean the sled: the number must stand still.", True, target=0.144)
        )
        await scenes.until(pilot, lambda t: "lean test" in t and "it is leaned" in t)
        await pilot.press("enter")
        fake.say(
            LiveMoveNotice(
                True, "go", "0.052 mm to go.", True, "left", "away", 0.052, False, 0.092, 0.144, 0.08
            )
        )
        text = await scenes.until(pilot, lambda t: "move it" in t)
        assert "left end" in text and "away from you" in text and "Moved 0.092 mm away from you" in text
        assert "it is there" not in text
        go = LiveMoveNotice(
            True, "go", "It holds.", True, "left", "away", 0.0042, target=0.144, uncertainty=0.0097
        )
        fake.say(msgspec.structs.replace(go, to_go=0.15, wrong=True, words="Wrong way."))
        await scenes.until(pilot, lambda t: "back: left end" in t and "Wrong way." in t)
        fake.say(msgspec.structs.replace(go, there=True))
        text = await scenes.until(pilot, lambda t: "It holds." in t)
        assert text.count("there") == 3  # beside the figure, in the band, the word of the key
        fake.say(
            LiveMoveNotice(True, "go", "Too far.", True, "left", "toward", 0.02, True, 0.164, 0.144, 0.08)
        )
        await scenes.until(pilot, lambda t: "mm too far" in t)
        fake.say(
            LiveMoveNotice(
                True,
                "tighten",
                "Tighten.",
                True,
                "left",
                "away",
                0.03,
                False,
                0.114,
                0.144,
                0.08,
                drawn=-0.03,
            )
        )
        await scenes.until(pilot, lambda t: "tighten" in t and "The screw drew it 0.030 mm" in t)
        fake.say(SavedNotice("move", "f1"), LiveMoveNotice(False, "end", "Tight. Take the verifying passes."))
        await scenes.until(pilot, lambda t: "The move is noted." in t and "Take the verifying passes." in t)
        assert app.view.live is None
        assert len(fake.of(Press)) == 1


@pytest.mark.ci
async def test_beside_the_arm_the_distance_is_typed(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("5", "3", *"200", "enter")
        await scenes.until(pilot, lambda _: fake.of(LiveMoveRequest))
    (live,) = fake.of(LiveMoveRequest)
    assert (live.touches, live.stands, live.from_pivot) == ("arm", "right", 200.0)


async def test_too_close_to_call_asks_for_the_pushes_that_lack(fake, scenes) -> None:
    fake.last = [scenes.finding("cannot-tell", 0.00016)]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "Enter  2 more in each set-up" in t)
        await pilot.press("enter")
        await scenes.until(pilot, lambda _: fake.of(Extend))
    (extend,) = fake.of(Extend)
    assert extend.sweeps == 2  # ten in all, six are there, two set-ups


@pytest.mark.parametrize(
    "settle",
    [
        Settle("resolution", length=400.0),
        *map(ci, (Settle("resolution", resolution=0.001), Settle("square"), None)),
    ],
)
async def test_too_close_to_call_never_leads_to_the_move(fake, scenes, settle) -> None:
    """The finding carries a move, for scripts; neither Enter nor the keys of a move take it up."""
    fake.last = [msgspec.structs.replace(scenes.finding("cannot-tell", 0.00016), settle=settle)]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "TOO CLOSE TO CALL" in t)
        await pilot.press("4", "5", "enter")
        text = await scenes.until(pilot, lambda t: "TOO CLOSE TO CALL" in t or "What limits" in t)
        assert "Move the" not in text
    assert fake.of(LiveMoveRequest) == fake.of(NoteMove) == []


async def test_how_many_passes_are_kept_is_said_once(fake, scenes) -> None:
    """In the row of the state; what could not be written down is said besides."""
    fake.run = scenes.running(scenes.push)
    kept = PassNotice("a", "handle-left", "kept", True, 1, 3, words="1 of 3 kept.")
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "1 of 3 kept" in t)
        fake.say(replace(kept, remarks=[StatusMessage("pass-kept", {"taken": 1, "wanted": 3})]))
        await scenes.until(pilot, lambda t: "undo pass" in t and t.count("1 of 3 kept") == 1)
        lost = replace(kept, state="measured", words="NOT RECORDED: 1 of 3 measured.", recorded=False)
        fake.say(replace(lost, remarks=[StatusMessage("pass-measured", {"taken": 1, "wanted": 3})]))
        await scenes.until(pilot, lambda t: "1 of 3 measured" in t)


@pytest.mark.parametrize(("play", "act"), [(0.084, "next check"), (0.2, "check again")])
async def test_a_play_between_its_limits_leads_on_to_the_next_check(fake, scenes, play, act) -> None:
    q = Quantity("side-play", play, "mm", 0.006, 10.0, band=(0.03, 0.15))
    found = replace(scenes.finding("inside"), verdict=None, check="side-play", quantities=[q], move=None)
    fake.last = [found]
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: f"Enter  {act}" in t)
        assert "good 0.03 to 0.15" in text and "(none)" not in text


async def test_once_moved_what_was_found_stands_below_and_is_told_as_past(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "make the move" in t)
        fake.say(SavedNotice("move", "f1"))
        text = await scenes.until(pilot, lambda t: "The move is noted" in t)
        assert text.index("The move is noted") < text.index("Left end too near you")
        assert "before the move" in text


async def test_past_results_are_listed_and_looked_at(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    fake.past = [scenes.finding("inside", 0.00003, "a"), scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("6")
        text = await scenes.until(pilot, lambda t: "Results of big-sled" in t and "√ good enough" in t)
        assert "moved" in text
        assert fake.of(LogList)[0].jig == "big-sled"
        await pilot.press("enter")
        await scenes.until(pilot, lambda t: "too little to matter" in t)
        await pilot.press("full_stop", "full_stop")
        await scenes.until(pilot, lambda t: "CHECK AGAIN" in t)


async def test_the_budget_is_one_key_away_and_ranked(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("3")
        text = await scenes.until(pilot, lambda t: "What limits the result" in t)
        shares = [int(part.split("%")[0].split()[-1]) for part in text.splitlines() if "%" in part]
        assert shares == sorted(shares, reverse=True) == [61, 22, 10, 7]
        assert "across 400 mm" in text


def test_a_key_that_comes_before_the_rows_are_there_takes_nothing() -> None:
    SledForm().take(0)


async def test_the_sled_is_asked_once_for_its_wall(fake, scenes) -> None:
    """What a check declares as the sled's own is a row of the sled's form, and none of a check once it is known."""
    fake.kinds = [replace(scenes.kinds[0], options=[HOLD])]
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda _: bool(app.view.checks))
        app.push_screen(form := SledForm())
        await scenes.until(pilot, lambda t: HOLD.words in t)
        form.take(9)
        form.take(9)
        await pilot.press("9")
        await scenes.until(pilot, lambda t: "Without the distance" in t)
        assert typed_jig(form._given).hold == "right"
        known = replace(app.view.gear, jigs=[replace(app.view.gear.jigs[0], hold="left")])
        check = CheckForm(app.view.checks[0])
        app.push_screen(check)
        await scenes.until(pilot, lambda t: HOLD.words in t)
        app.view.gear = known
        check.fill()
        await scenes.until(pilot, lambda t: HOLD.words not in t)


@pytest.mark.ci
async def test_a_sled_is_described_by_number_pad_and_drawn_back(fake, scenes, later) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("7", "2")
        await scenes.until(pilot, lambda t: "Pivot to blade" in t)
        await pilot.press("9")
        await scenes.until(pilot, lambda t: "Without the distance" in t)
        await pilot.press("0", "3")
        for row, value in (("4", "250"), ("5", "500"), ("6", "480"), ("7", "600"), ("8", "0.1")):
            await pilot.press(row, *value, "enter")
        text = await scenes.until(pilot, lambda t: "0.1 mm per 300 mm" in t and "at the left end" in t)
        assert "pivot" in text and "blade" in text and "leaf 480 mm from pivot" in text and "you" in text
        await pilot.press("9")
        await scenes.until(pilot, lambda _: fake.of(PutJig))
    (put,) = fake.of(PutJig)
    jig = put.jig
    assert (jig.name, jig.fence, jig.pivot) == ("sled-2", "near", "left")
    assert (jig.pivot_to_blade, jig.pivot_to_screw, jig.pivot_to_stop, jig.widest_board) == (
        250,
        500,
        480,
        600,
    )
    assert jig.tolerance == pytest.approx(0.1 / 300)


@pytest.mark.ci
async def test_leaves_are_typed_in_a_row(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("7", "3", *"0.04", "plus", *"0.1", "enter")
        await scenes.until(pilot, lambda _: fake.of(PutLeaves))
        assert fake.of(PutLeaves)[0].leaves == [0.04, 0.1]
        await pilot.press("3", *"nonsense", "enter")
        await scenes.until(pilot, lambda t: "nonsense" in t)


async def test_a_check_that_somebody_else_began_takes_the_form_away(fake, scenes) -> None:
    """As the hands of the demonstration do, or a client on another screen."""
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("1", "enter")
        await scenes.until(pilot, lambda t: "Begin" in t and "Lean test" in t)
        fake.say(
            PromptChanged(
                "r1", "fence-square", "big-sled", Prompt(phase="cautions", words="Read.", enter=True, steps=2)
            )
        )
        await scenes.until(pilot, lambda t: "Lean test" not in t and "READ FIRST" in t)


async def test_beside_a_list_stands_what_the_chosen_row_is_about(fake, scenes) -> None:
    """On a wide screen; on a small one the list has it all."""
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=(160, 48)) as (_app, pilot):
        await pilot.press("1")
        text = await scenes.until(pilot, lambda t: "Which check?" in t and "left end 0.120 mm" in t)
        assert "Sled fence square, 2026-06-03: out." in text
        await pilot.press("plus")
        await scenes.until(pilot, lambda t: "Blade and slot: not measured yet." in t)
        await pilot.resize_terminal(80, 24)
        await scenes.until(pilot, lambda t: "Which check?" in t and "not measured yet" not in t)


async def test_the_words_come_back_after_the_drawing(fake, scenes) -> None:
    """On a phone the drawing takes the place of the words, for the set-up that it draws and no longer."""
    fake.run = scenes.running(scenes.place)
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "Square on the sled" in t)
        long = "The indicator jumped to 2.643 mm. Left out, 1 so far: dust, a jerk or its cable."
        fake.say(Notice("indicator", long))  # the drawing has room beside it, else nothing were seen
        await pilot.press("8")
        await scenes.until(pilot, lambda t: "handle" in t and "Square on the sled" not in t)
        await scenes.until(pilot, lambda t: "8  words" in t and "jumped" in t)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "Lift the square" in t)


async def test_the_page_of_what_limits_says_what_lessens_it(fake, scenes) -> None:
    fake.last = [scenes.finding("cannot-tell")]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "TOO CLOSE" in t)
        await pilot.press("3")
        await scenes.until(pilot, lambda t: "What limits" in t and "More passes lessen it" in t)


async def test_a_set_up_of_one_reading_is_counted_as_that(fake, scenes) -> None:
    """`0 of 1 kept` beside each of sixteen turns tells nothing."""
    turn = Prompt(
        phase="spot", words="Turn it.", placement="turn-90", gather="spot", step=3, steps=16, wanted=1
    )
    fake.run = scenes.running(turn)
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "reading 3 of 16" in t)
        assert "kept" not in text


def test_what_was_said_of_the_step_before_is_gone() -> None:
    """`3 of 3 kept` says nothing of the next height, though the square stands as it stood."""
    view, ask = ViewModel(lambda: 1.0), Prompt(phase="spot", words="", placement="fence-away", step=1)
    fold(view, PromptChanged("r1", "upright", "sled", ask))
    view.say("pass", "3 of 3 kept.")
    fold(view, PromptChanged("r1", "upright", "sled", replace(ask, taken=3)))
    assert [one.words for one in view.notices] == ["3 of 3 kept."]
    fold(view, PromptChanged("r1", "upright", "sled", replace(ask, step=2)))
    assert not list(view.notices)


async def test_the_act_stands_before_what_is_said_in_small(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "Good enough within" in t)
        assert text.index("Move the left end") < text.index("Good enough within")


def closing(scenes):
    """A rip fence right of the blade that closes at the rear; all figures invented."""
    toe = Quantity("toe", 9e-4, "rad", 2e-5, 8.0, tolerance=1.6e-4, verdict="outside", way=CLOSES, over=219.0)
    turn = {"part": "rip fence", "shift": 0.215, "uncertainty": 0.005, "over": 219.0}
    turn |= {"way": "right", "other_way": "left"}
    remarks = [
        Remark("closes", values={"closing": 9e-4, "surely": 1.0}, severity="warning"),
        Remark("turn-saw", values=turn, severity="act"),
    ]
    return replace(
        scenes.finding(), check="rip-fence", jig=None, quantities=[toe], move=None, remarks=remarks, notes=[]
    )


async def test_a_rip_fence_that_closes_leads_and_its_act_is_seen(fake, scenes) -> None:
    fake.last = [closing(scenes)]
    async with scenes.screen(fake) as (app, pilot):
        due = {
            "jig": "big-sled",
            "check": "fence-square",
            "state": "never-checked",
            "reason": "",
            "minutes": 8,
        }
        app.view.due = {"due": [due], "left_out": []}
        app.mark()
        await scenes.until(pilot, lambda t: "DANGER: open it" in t)
        rows = [line[:42] for line in scenes.rows(app)]
        text = " ".join(" ".join(rows).split())
        assert text.index("DANGER: the rip fence closes at the rear by") < text.index("First unplug the saw")
        assert "Move the rip fence's rear" in text
        assert "Never checked" not in text  # nothing else is due before that
        notes = " ".join(words for words, _ in further_words(app.screen.query_one("#further", TextPanel)))
        assert "closes at the rear" not in notes  # it was said


@pytest.mark.parametrize("size", [ci(((80, 24),)), (40, 15)])
async def test_a_rip_fence_that_closes_is_told_beside_a_later_result(fake, scenes, size) -> None:
    fake.last = [scenes.finding("inside"), closing(scenes)]
    async with scenes.screen(fake, size=size) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "good enough" in t.lower())
        assert "DANGER: the rip fence closes at the rear by" in " ".join(text.split())


async def test_the_act_of_a_danger_is_read_to_its_end_on_a_phone(fake, scenes) -> None:
    """By the number pad: what does not fit is one key away, and the key is told."""
    fake.last = [closing(scenes)]
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        app.view.say("check", "The caliper is back.")
        await scenes.until(pilot, lambda t: "First unplug" in t and "+  read on" in t)
        seen = ""
        for _ in range(4):
            await pilot.press("plus")
            await pilot.pause()
            seen += " ".join(" ".join(scenes.rows(app)).split())
            if "Then take the check again." in seen:
                break
        assert "Then take the check again." in seen
        assert "CLOSES" in scenes.rows(app)[1]  # it stays in sight


@pytest.mark.parametrize(("runs", "words"), [ci(("away", "away from you")), ("right", "to the right")])
async def test_the_travel_goes_where_it_is_pushed(fake, scenes, runs, words) -> None:
    """Along a straightedge on the sled fence the indicator goes to the right, not away."""
    fake.run = scenes.running(msgspec.structs.replace(scenes.push, pushed="indicator", runs=runs))
    async with scenes.screen(fake) as (_app, pilot):
        for at in (20.0, 30.0, 40.0):
            fake.read("travel", at)
        await scenes.until(pilot, lambda t: words in t)


def test_a_straightedge_is_ridden_to_the_right() -> None:
    steps = {step.runs for step in checks()["fence-straight"].plan({}, EvidenceGear())}
    assert steps == {"right"}


def test_nothing_is_taken_back_once_it_is_worked_out(scenes) -> None:
    view = ViewModel(clock=lambda: 0.0)
    view.online, view.prompt = True, msgspec.structs.replace(scenes.push, phase="working-out")
    assert not Requests(view, Guide(), lambda message: True).can_undo


def test_where_whole_checks_would_settle_it_enter_takes_it_again(scenes) -> None:
    view = ViewModel(clock=lambda: 0.0)
    settle = Settle(part="between set-ups", checks=2)
    view.last = [msgspec.structs.replace(scenes.finding("cannot-tell"), settle=settle)]
    assert Requests(view, Guide(), lambda message: True).enter_act == "again"


async def test_a_key_before_the_first_screen_reaches_it(fake, scenes, monkeypatch) -> None:
    """But none that would answer: nothing has been seen yet."""
    answer, held = fake._answer, []

    def hold(writer, request) -> None:
        held.append((writer, request))

    monkeypatch.setattr(fake, "_answer", hold)
    app = make_console(fake.path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "plus")
        assert app._shown_screen() is None
        monkeypatch.setattr(fake, "_answer", answer)
        for one in held:
            answer(*one)
        await scenes.until(pilot, lambda t: "Which check?" in t)
        await scenes.until(pilot, lambda t: app.screen.query_one("OptionList").highlighted == 1)


async def test_enter_pressed_again_and_again_opens_a_form_once(fake, scenes) -> None:
    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Which check?" in t)
        for _ in range(3):  # all before the form is there
            app.post_message(events.Key("enter", None))
        await scenes.until(pilot, lambda t: app.screen.page == "options" or bool(fake.of(Begin)))
        await pilot.pause()
        assert sum(isinstance(one, CheckForm) for one in app.screen_stack) <= 1


async def test_at_rest_few_readings_are_asked_for(fake, scenes) -> None:
    """They are what wakes the program; in a check there are as many as digits are drawn."""
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t and fake.of(Watch)[-1].most == REST_RATE_HZ)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t and fake.of(Watch)[-1].most == LIVE_RATE_HZ)
        fake.say(PromptChanged(None, "fence-square", None, None))
        await scenes.until(pilot, lambda t: "begin a check" in t and fake.of(Watch)[-1].most == REST_RATE_HZ)


async def test_a_still_screen_is_woken_when_a_number_gets_old_and_not_before(fake, scenes) -> None:
    """Twice a second it looked at how old the numbers were, where nothing had changed."""
    loop = asyncio.get_running_loop()
    async with scenes.screen(fake) as (app, pilot):
        now = app.view.clock()
        app.view.clock = lambda: now
        for one in app.view.instruments.values():
            one.at = now - 0.2
        for later, wait in (0.0, FRESH_S - 0.2), (2.0, AGE_PERIOD_S):
            now += later
            before = loop.time()
            app._age()
            assert before + wait - 1e-6 <= app._ageing.when() <= loop.time() + wait
        await scenes.until(pilot, lambda t: "read 2 s ago" in t)
