"""The screen on a scripted daemon: what stands on it at every size, what keys send, what it does when left alone."""

from __future__ import annotations

import msgspec
import pytest
from bench.console.actions import ACTIONS, shown

from bench.console.app import make_console
from bench.protocol import (
    Abandon,
    Begin,
    Error,
    Extend,
    FittedPass,
    Live,
    LiveMoveNotice,
    LogList,
    Moved,
    PassNotice,
    Points,
    Press,
    Prompt,
    PromptChanged,
    PutJig,
    PutLeaves,
    Saved,
    Undo,
)

SIZES = [(40, 15), (60, 20), (80, 24), (200, 60)]
THEMES = ["shop", "pencil", "tube"]


# ---- what stands on it ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("size", "look"), [*zip(SIZES, [*THEMES, "tube"], strict=True)])
async def test_a_result_shows_number_unit_way_state_and_next_act(fake, scenes, size, look) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=size, look=look) as (app, pilot):
        await scenes.until(pilot, lambda t: "AWAY" in t and "mm indicator" in t)
        scenes.inside(app, size)
        text = "\n".join(scenes.seen(app))  # from the picture that the program makes of itself
        assert "OUT" in text and "big-sled" in text
        assert "eft end too near you" in text
        assert "0.120 mm" in text and "400 mm" in text
        assert "Move the left end 0.144 mm AWAY from you." in " ".join(text.split())
        assert "Enter" in text and "the move" in text
        if look == "tube":
            text.encode("cp437")


async def test_cautions_are_read_to_the_end_before_enter_counts(fake, scenes) -> None:
    fake.run = scenes.running(
        Prompt(phase="cautions", words="Read.", enter=True, steps=2, cautions=scenes.cautions)
    )
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        seen = await scenes.until(pilot, lambda t: "rows more" in t)
        for _ in range(9):
            if "it is so" in seen:
                break
            assert not fake.of(Press)
            await pilot.press("enter")
            await pilot.pause(0.02)
            seen += "\n".join(pilot.scenes.rows(app))
        for caution in scenes.cautions:
            assert caution.split()[-1] in seen
        await pilot.press("enter")
        await pilot.pause(0.05)
        assert len(fake.of(Press)) == 1


async def test_nothing_measured_yet_says_how_to_begin(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "1 begins a check" in t)
        fake.jigs = []
    fake.instruments = []
    app = make_console(fake.path)
    async with app.run_test(size=(80, 24)) as pilot:
        await scenes.until(pilot, lambda t: "no instrument" in t and "press its plunger" in t)


@pytest.mark.parametrize(
    ("verdict", "value", "word", "act"),
    [
        ("inside", 0.00004, "GOOD ENOUGH", "Stop here"),
        ("outside", -0.0003, "OUT", "Move the left end"),
        ("cannot-tell", 0.00016, "TOO CLOSE TO CALL", "10 pushes in all"),
    ],
)
async def test_the_three_verdicts_in_words(fake, scenes, verdict, value, word, act) -> None:
    fake.last = [scenes.finding(verdict, value)]
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: word in t)
        assert act in text
        assert ("too near" if value > 0 else "too far from") in text


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
        await scenes.until(pilot, lambda t: "×" in t and "set aside" in t)
        fake.say(PassNotice("a", "handle-left", "undone", True, 1, 3, words="Taken back by hand."))
        await scenes.until(pilot, lambda t: "×" not in t and "Taken back" in t)


# ---- keys ---------------------------------------------------------------------------------------------------


def test_every_action_has_a_key_of_its_own_and_one_on_the_number_pad() -> None:
    keys = [key for action in ACTIONS for key in action.keys]
    assert len(keys) == len(set(keys))
    pad = {"enter", "plus", "minus", "asterisk", "slash", "full_stop", *"0123456789"}
    for action in ACTIONS:
        assert action.keys[0] in pad, action.name
        assert action.help.endswith(".")


async def test_the_list_of_all_keys_lists_every_action_and_takes_it(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("slash")
        text = await scenes.until(pilot, lambda t: "All keys" in t)
        for action in ACTIONS:
            assert shown(action.keys[0]) in text
            assert action.help[:30] in text
        app.NAV.cursor = next(n for n, a in enumerate(app.controller.actions) if a.name == "limits")
        await pilot.press("enter")
        await scenes.until(pilot, lambda t: "What limits" in t)
        assert app.NAV.page == "limits"


async def test_a_check_is_chosen_with_its_options_and_begun(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("1")
        text = await scenes.until(pilot, lambda t: "Which check?" in t)
        assert "Is the sled's fence square to the cut?" in text
        assert "no caliper is set up" in text
        await pilot.press("3")  # not now
        await scenes.until(pilot, lambda t: "No caliper is set up." in t)
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Pushes a set-up: 3" in t)
        await pilot.press("2", "2", "4", "5")  # five pushes, tapped; which set-ups
        await scenes.until(pilot, lambda t: "Pushes a set-up: 5" in t and "handle left" in t)
        await pilot.press("7", *"19.75", "enter")  # a bare number is in the user's own unit
        await scenes.until(pilot, lambda t: "Length of the runners: 19.75 mm" in t)
        await pilot.press("1")
        await pilot.pause(0.05)
    (begin,) = fake.of(Begin)
    assert (begin.check, begin.jig, begin.sweeps) == ("fence-square", "big-sled", 5)
    assert (begin.lean, begin.tap) == (True, True)
    assert begin.options == {"placements": "handle-left", "runner_length": 19.75}


async def test_the_form_shows_what_applies_and_a_wrong_value_stays_at_its_field(fake, scenes) -> None:
    def rows(app) -> list[str]:
        return [row.words for row in app.controller.rows()]

    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Which check?" in t)
        await pilot.press("2")
        await scenes.until(pilot, lambda t: "Place of the spot at the rear" in t)
        assert rows(app) == ["Begin", "Sweeps at so many even turns", "Place of the spot at the rear"]
        await pilot.press("2", "9", "9", "enter")
        await scenes.until(pilot, lambda t: "! It takes a whole number from 1 to 72, not '99'." in t)
        assert (app.NAV.typing, app.NAV.typed, app.NAV.options) == (
            "option:turns",
            "99",
            {},
        )
        await pilot.press("backspace", "enter")
        await scenes.until(pilot, lambda t: "Pushes a set-up" in t)
        assert [row.partition(":")[0] for row in rows(app)] == [
            "Begin",
            "Pushes a set-up",
            "Lean test",
            "Tap test",
            "Sweeps at so many even turns",
            "How far it slips",
        ]
        await pilot.press("1")
        await pilot.pause(0.05)
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
        await pilot.pause(0.05)
        assert not fake.of(Press)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.place))
        await scenes.until(pilot, lambda t: "SET UP" in t)
        await pilot.press("enter")
        await pilot.pause(0.05)
        (press,) = fake.of(Press)
        assert press.waits is False


class Clock:
    """The screen's clock, put on by hand."""

    def __init__(self, app) -> None:
        self.now, self._real = 0.0, app.view.clock
        app.view.clock = lambda: self._real() + self.now


@pytest.mark.parametrize("yes", ["enter", "y"])
async def test_undo_and_giving_up_which_asks_first(fake, scenes, yes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (app, pilot):
        clock = Clock(app)
        await pilot.press("0")
        await pilot.press("9")
        text = await scenes.until(pilot, lambda t: "sure?" in t)
        text = " ".join(text.split())
        assert "stays in the log" in text and "Enter or Y does it: Give up" in text and " yes " in text
        for _ in range(30):  # held, or pressed again and again: no answer
            clock.now += 0.5
            await pilot.press("9")
        await pilot.press(yes)  # together with it: a hand on the number pad
        assert not fake.of(Abandon)
        clock.now += 0.5
        await pilot.press(yes)
        await pilot.pause(0.05)
        assert len(fake.of(Undo)) == 1 and len(fake.of(Abandon)) == 1
        assert not fake.of(Press)


async def test_any_other_key_takes_the_question_back(fake, scenes) -> None:
    fake.run = scenes.running(msgspec.structs.replace(scenes.push, enter=True))
    async with scenes.screen(fake) as (app, pilot):
        clock = Clock(app)
        await pilot.press("9", "0")
        text = await scenes.until(pilot, lambda t: "sure?" not in t)
        assert "does it" not in text and "Give up" not in text
        clock.now += 1.0
        await pilot.press("enter")
        await pilot.pause(0.05)
        assert len(fake.of(Undo)) == 1 and len(fake.of(Press)) == 1 and not fake.of(Abandon)


async def test_enter_on_the_list_of_all_keys_asks_and_does_not_answer(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (app, pilot):
        clock = Clock(app)
        await pilot.press("slash")
        give_up = next(n for n, row in enumerate(app.controller.rows()) if "Give up" in row.words)
        app.NAV.cursor = give_up
        for _ in range(3):
            await pilot.press("enter")
            clock.now += 1.0
        assert not fake.of(Abandon)
        text = await scenes.until(pilot, lambda t: "sure?" in t)
        assert " Y does it: Give up" in " ".join(text.split())
        await pilot.press("y")
        await pilot.pause(0.05)
        assert len(fake.of(Abandon)) == 1


async def test_a_live_move_and_the_screen_are_left_by_two_keys(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        clock = Clock(app)
        fake.say(LiveMoveNotice(True, "go", "0.05 mm to go.", False, "left", "away", 0.052, target=0.144))
        await scenes.until(pilot, lambda t: "LIVE" in t)
        for key in ("5", "minus"):
            for _ in range(3):
                await pilot.press(key)
                clock.now += 1.0
        assert app.NAV.sure == "leave" and not fake.of(Live)
        await pilot.press("5")
        clock.now += 1.0
        await pilot.press("enter")
        await pilot.pause(0.05)
        (live,) = fake.of(Live)
        assert live.on is False


async def test_the_move_with_leaves_then_the_proof(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("enter")
        text = await scenes.until(pilot, lambda t: "The move" in t)
        assert "Leaves: 0.10 mm + 0.04 mm." in text and "480 mm from the pivot" in text
        await pilot.press("2")
        await scenes.until(pilot, lambda t: "The move is noted." in t)
        (moved,) = fake.of(Moved)
        assert (moved.finding, moved.how) == ("f1", "leaves")
        assert moved.distance == pytest.approx(0.14)
        await pilot.press("enter")
        await pilot.pause(0.05)
        (begin,) = fake.of(Begin)
        assert (begin.check, begin.jig, begin.verifies) == ("fence-square", "big-sled", "f1")


async def test_the_move_made_live(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        await pilot.press("5", "1")
        await pilot.pause(0.05)
        (live,) = fake.of(Live)
        assert (live.touches, live.stands, live.finding) == ("fence", "beyond", "f1")
        fake.say(
            LiveMoveNotice(True, "lean", "Lean the sled: the number must stand still.", True, target=0.144)
        )
        await scenes.until(pilot, lambda t: "lean test" in t and "leaned" in t)
        await pilot.press("enter")
        fake.say(
            LiveMoveNotice(
                True, "go", "0.052 mm to go.", True, "left", "away", 0.052, False, 0.092, 0.144, 0.08
            )
        )
        text = await scenes.until(pilot, lambda t: "move it" in t)
        assert "left end" in text and "AWAY" in text and "Moved 0.092 mm away from you" in text
        assert "there" not in text
        go = LiveMoveNotice(
            True, "go", "It holds.", True, "left", "away", 0.0042, target=0.144, uncertainty=0.0097
        )
        fake.say(msgspec.structs.replace(go, to_go=0.15, wrong=True, words="Wrong way."))
        await scenes.until(pilot, lambda t: "wrong way" in t and "Wrong way." in t)
        fake.say(msgspec.structs.replace(go, there=True))
        text = await scenes.until(pilot, lambda t: "It holds." in t)
        assert text.count("there") == 3  # the way beside the number, its mark, the word of the key
        fake.say(
            LiveMoveNotice(True, "go", "Too far.", True, "left", "toward", 0.02, True, 0.164, 0.144, 0.08)
        )
        await scenes.until(pilot, lambda t: "past it" in t)
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
        await scenes.until(pilot, lambda t: "tighten" in t and "the screw drew it" in t and "0.030 mm" in t)
        fake.say(Saved("move", "f1"), LiveMoveNotice(False, "end", "Tight. Take the verifying passes."))
        text = await scenes.until(pilot, lambda t: "The move is noted." in t)
        assert "Take the verifying passes." in text
        assert app.view.live is None
        assert len(fake.of(Press)) == 1


async def test_beside_the_arm_the_distance_is_typed(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("5", "3", *"200", "enter")
        await pilot.pause(0.05)
    (live,) = fake.of(Live)
    assert (live.touches, live.stands, live.from_pivot) == ("arm", "right", 200.0)


async def test_too_close_to_call_asks_for_the_pushes_that_lack(fake, scenes) -> None:
    fake.last = [scenes.finding("cannot-tell", 0.00016)]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "more" in t)
        await pilot.press("enter")
        await pilot.pause(0.05)
    (extend,) = fake.of(Extend)
    assert extend.sweeps == 2  # ten in all, six are there, two set-ups


async def test_past_results_are_listed_and_looked_at(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    fake.past = [scenes.finding("inside", 0.00003, "a"), scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("6")
        text = await scenes.until(pilot, lambda t: "Results of big-sled" in t and "good enough" in t)
        assert "The move was made." in text
        assert fake.of(LogList)[0].jig == "big-sled"
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "nothing to move" in t and "good enough ]" in t)
        await pilot.press("full_stop")
        await scenes.until(pilot, lambda t: "OUT" in t)


async def test_the_budget_is_one_key_away_and_ranked(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("3")
        text = await scenes.until(pilot, lambda t: "What limits the result" in t)
        shares = [int(part.split("%")[0].split()[-1]) for part in text.splitlines() if "%" in part]
        assert shares == sorted(shares, reverse=True) == [61, 22, 10, 7]
        assert "across 400 mm" in text


async def test_a_sled_is_described_by_number_pad_and_drawn_back(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        await pilot.press("7", "2")
        await scenes.until(pilot, lambda t: "Is this yours?" in t)
        await pilot.press("9")
        await scenes.until(pilot, lambda t: "no move can be told" in t)
        await pilot.press(
            "3", "4", *"250", "enter", "5", *"500", "enter", "6", *"480", "enter", "7", *"600", "enter"
        )
        await pilot.press("8", *"0.1", "enter")
        await scenes.until(pilot, lambda t: "0.1 mm per 300 mm" in t and "Pivot: left" in t)
        await pilot.press("9")
        await pilot.pause(0.05)
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
        await pilot.press("7", "4", *"0.04", "plus", *"0.1", "enter")
        await pilot.pause(0.05)
        assert fake.of(PutLeaves)[0].leaves == [0.04, 0.1]
        await pilot.press("4", *"nonsense", "enter")
        await scenes.until(pilot, lambda t: "nonsense" in t)


async def test_touch_and_mouse_do_what_keys_do(fake, scenes) -> None:
    fake.run = scenes.running(scenes.place)
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "it stands" in t)
        for hit in app._frame.targets:
            assert hit.rows[1] - hit.rows[0] >= 3 and hit.columns[1] - hit.columns[0] >= 8
        await pilot.click(offset=(4, 22))
        await pilot.pause(0.05)
        assert len(fake.of(Press)) == 1
