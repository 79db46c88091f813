"""What stands on a screen when it is painted for the first time, and keys that come before it is there."""

from __future__ import annotations

import asyncio

import pytest
from textual import events
from textual.screen import Screen

from bench.console.app import Console, make_console
from bench.console.view_model import Change
from bench.console.widgets.drawing import Drawing
from bench.protocol import FindingNotice, PromptChanged


def painted(monkeypatch) -> list[str]:
    """The names of drawings with something in them, in the order in which they are painted."""
    names: list[str] = []
    render = Drawing.render_line

    def noted(self: Drawing, y: int):
        strip = render(self, y)
        if strip.text.strip():
            names.append(self.id or "")
        return strip

    monkeypatch.setattr(Drawing, "render_line", noted)
    return names


@pytest.fixture
def slow(monkeypatch) -> None:
    """A loaded machine: what a screen that comes up asks for itself is shown only later."""
    mark = Console.mark

    def later(self: Console, change: Change = "state") -> None:
        if change == "state":
            self.set_timer(0.3, lambda: mark(self, change))
        else:
            mark(self, change)

    monkeypatch.setattr(Console, "mark", later)


async def test_home_never_shows_the_sled_in_place_of_a_result(fake, scenes, monkeypatch, slow) -> None:
    fake.last = [scenes.finding()]
    names = painted(monkeypatch)
    async with scenes.screen(fake, size=(80, 24)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t and "figure" in names)
        assert "sled" not in names


async def test_home_shows_a_new_result_at_once_after_the_check(fake, scenes, monkeypatch, slow) -> None:
    """Home is made once; it comes back to another state than it was left in."""
    async with scenes.screen(fake, size=(80, 24)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t)
        names = painted(monkeypatch)
        fake.say(FindingNotice("r1", scenes.finding()))
        await scenes.until(pilot, lambda t: "OUT" in t and "figure" in names)
        assert "sled" not in names


def press_at_once(app, *keys: str) -> None:
    """As a terminal brings them in one read: none waits for what the one before does."""
    for key in keys:
        app.post_message(events.Key(key, key if len(key) == 1 else None))


async def test_a_key_in_the_same_instant_as_the_one_that_opens_a_list_takes_its_row(fake, scenes) -> None:
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        press_at_once(app, "1", "1")
        await scenes.until(pilot, lambda t: "Tap test" in t)
        press_at_once(app, "full_stop", "full_stop", "enter", "enter")
        await scenes.until(pilot, lambda t: "Tap test" in t)


async def test_a_value_typed_in_one_go_keeps_its_first_figure(fake, scenes) -> None:
    async with scenes.screen(fake) as (app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        press_at_once(app, "8", "4", *"0.15", "enter")
        await scenes.until(pilot, lambda t: "Another leaf for the proof: 0.15 mm" in t)


async def test_a_key_before_any_screen_is_there_breaks_nothing(fake) -> None:
    app = make_console(fake.path)
    async with app.run_test(size=(80, 24)) as pilot:
        press_at_once(app, "1", "enter", "1")
        await pilot.pause()
        assert app.is_running


async def test_nobody_waits_for_a_screen_that_is_closed_before_it_is_there(fake) -> None:
    """The console was left while a page opened: a key waited for the page, and the leaving for the key."""
    app = make_console(fake.path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        app.early_keys.screen_comes(Screen())  # it is on no stack, and says nothing any more
        async with asyncio.timeout(60):
            assert await app.early_keys.aim(events.Key("1", "1"))
