"""The screen left alone, left, come back to: what it draws, what it says of old numbers, of a daemon that goes."""

from __future__ import annotations

import asyncio
import time

import msgspec
import pytest

from bench.console.app import make_console
from bench.finding import Remark
from bench.protocol import (
    FindingNotice,
    FittedPass,
    InstrumentState,
    NotesSeen,
    Notice,
    Undo,
)

SIZES = [(40, 15), pytest.param((80, 24), marks=pytest.mark.ci)]


async def test_nothing_is_drawn_while_nothing_changes(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        there = app.view.instruments
        await scenes.until(
            pilot, lambda _: there["travel"].value == 12.25 and app._timer is None
        )  # and drawn
        before = app.drawn
        for _ in range(10):
            fake.read("indicator", 2.513)
            fake.read("travel", 12.25)
            await pilot.pause()
        assert app.drawn == before


async def test_digits_are_drawn_ten_times_a_second_at_the_most(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (app, pilot):
        await pilot.pause()
        before, began = app.drawn, time.monotonic()
        for n in range(40):
            fake.read("indicator", 2.5 + n / 100)
            await asyncio.sleep(0.015)  # the pace of the instrument
        await scenes.until(pilot, lambda _: app._timer is None)  # all is drawn
        seconds = time.monotonic() - began
        assert 2 <= app.drawn - before <= seconds * 10 + 2
        assert "".join(scenes.rows(app)).count("█") > 20
        assert app.view.instruments["indicator"].value == pytest.approx(2.89)


async def test_an_instrument_that_goes_says_so_and_its_number_is_gone(fake, scenes) -> None:
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        fake.say(
            InstrumentState(
                "indicator", "indicator", "absent", "The indicator's port is gone: plug it in again."
            )
        )
        text = await scenes.until(pilot, lambda t: "not plugged in" in t)
        assert "! indicator" in text
        assert app.view.shown is not None and not app.view.shown.live


async def test_an_old_number_says_how_old_it_is(fake, scenes) -> None:
    now = [100.0]
    app = make_console(fake.path)
    app.view.clock = lambda: now[0]
    async with app.run_test(size=(80, 24)) as pilot:
        await scenes.until(pilot, lambda t: "mm indicator" in t)
        fake.read("indicator", 2.513)
        await pilot.pause()
        now[0] += 7.0
        app.mark("number")
        text = await scenes.until(pilot, lambda t: "7 s ago" in t)
        assert "? indicator read 7 s ago" in text


async def test_the_daemon_goes_and_comes_back_to_the_same_place(fake, scenes) -> None:
    fitted = FittedPass("a", "handle-left", True, [0.0, 100.0, 200.0], [2.4, 2.43, 2.46], [], 0.0003, 2.4)
    fake.run = scenes.running(scenes.push, passes=[fitted])
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        await fake.stop()
        text = await scenes.until(pilot, lambda t: "NO DAEMON" in t)
        assert "no daemon" in text and "what was said to be saved is kept" in text
        await pilot.press("0")  # no key pretends that it was done
        await pilot.pause()
        fake.run = scenes.running(msgspec.structs.replace(scenes.place, taken=1), passes=[fitted])
        await fake.start()
        text = await scenes.until(pilot, lambda t: "SET UP 1 of 3 kept" in t.replace("  ", " "))
        assert "The daemon is back" in text
        assert [p.sweep for p in app.view.passes] == ["a"]
        assert not fake.of(Undo)


async def test_a_result_comes_by_itself_and_old_words_go(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake) as (_app, pilot):
        fake.say(Notice("lean", "The indicator stands on the right."))
        await scenes.until(pilot, lambda t: "stands on the right" in t)
        fake.say(FindingNotice("r1", scenes.finding()))
        text = await scenes.until(pilot, lambda t: "OUT" in t)
        assert "stands on the right" not in text


async def test_the_look_is_changed_by_a_key(fake, scenes) -> None:
    async with scenes.screen(fake) as (app, pilot):
        for name in ("pencil", "tube", "shop"):
            await pilot.press("asterisk")
            assert app.theme == name
            await pilot.pause()
        assert scenes.inside(app, (80, 24))


@pytest.mark.ci
async def test_resized_while_it_runs(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake) as (app, pilot):
        for size in [(40, 15), (200, 60), (10, 5), (80, 24)]:
            await pilot.resize_terminal(*size)
            await scenes.until(
                pilot, lambda t, size=size: [len(line) for line in t.split("\n")] == [size[0]] * size[1]
            )
        assert "Move the left end 0.14 mm away from" in "\n".join(scenes.rows(app))


@pytest.mark.ci
async def test_what_the_daemon_noted_is_said_until_somebody_was_there(fake, scenes) -> None:
    fake.notes, fake.last = ["The log was damaged; 3 passes were saved."], [scenes.finding()]
    async with scenes.screen(fake) as (_app, pilot):
        await scenes.until(pilot, lambda t: "3 passes were saved" in t)
        assert not fake.of(NotesSeen)  # a screen that nobody looks at has told nobody
        await pilot.press("9")
        await scenes.until(pilot, lambda t: "5  What was noted here" in t)
        assert fake.of(NotesSeen)[0].count == 1
        await pilot.press("5")
        await scenes.until(pilot, lambda t: "here" not in t and "3 passes were saved" in t)
    fake.told = 1
    async with scenes.screen(fake) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "OUT" in t)
        assert "damaged" not in text


@pytest.mark.parametrize("size", SIZES)
async def test_what_went_wrong_with_the_move_is_said_first(fake, scenes, size) -> None:
    found = scenes.finding("outside", 0.0006, "f2")
    words = "The move went too far. Is the distance to the stop right?"
    fake.last = [msgspec.structs.replace(found, remarks=[Remark("moved-too-far")]), scenes.finding()]
    async with scenes.screen(fake, size=size) as (_app, pilot):
        text = await scenes.until(pilot, lambda t: "OUT: TOO FAR" in t)
        assert text.count("!") >= 1 and (size[1] < 18 or words in " ".join(text.split()))
        assert text.replace("\n", " ").count("Is the distance to the stop right?") <= 1


async def test_an_instrument_that_comes_back_says_so_and_the_old_words_go(fake, scenes) -> None:
    """Trouble that is over must not stand on the screen as if it went on."""
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        fake.say(InstrumentState("indicator", "indicator", "absent", "The cable went away."))
        await scenes.until(pilot, lambda t: "went away" in t)
        fake.say(InstrumentState("indicator", "indicator", "open", "It is open.", value=2.5, age=0.0))
        text = await scenes.until(pilot, lambda t: "indicator is back" in t)
        assert "went away" not in text


async def test_a_held_display_is_no_good_health(fake, scenes) -> None:
    async with scenes.screen(fake) as (_app, pilot):
        fake.say(
            InstrumentState("indicator", "indicator", "open", "On hold.", value=2.5, age=0.0, spoiled="hold")
        )
        text = await scenes.until(pilot, lambda t: "on hold" in t)
        assert "! indicator on hold" in text
