"""By a thumb, a finger or a mouse: what can be touched, how large it is, and that nothing needs a key."""

from __future__ import annotations

import contextlib

import msgspec
import pytest

from bench.console.app import make_console
from bench.protocol import Abandon, Begin, LiveMoveNotice, Press, PromptChanged, RunState, Undo

SIZES = [(40, 15), (60, 20), (80, 24), (200, 60)]
ENDS = [SIZES[0], *(pytest.param(size, marks=pytest.mark.ci) for size in SIZES[1:3]), SIZES[3]]
SOME = [(40, 15), *(pytest.param(size, marks=pytest.mark.slow) for size in SIZES[1:])]
ROWS, COLUMNS = 3, 8  # of a target in a sweep, at the least


@contextlib.asynccontextmanager
async def screen(fake, scenes, size):
    app = make_console(fake.path, look="shop")
    async with app.run_test(size=size) as pilot:
        await scenes.until(
            pilot, lambda t: bool(t.strip()) and app.view.status_known and bool(app.view.checks)
        )
        yield app, pilot


def bar(app) -> dict[str, object]:
    """The targets in the row of keys: each large enough, on the screen, and none over another."""
    targets = [hit for hit in app._frame.targets if hit.action is not None]
    wide, high = app.size
    taken: set[int] = set()
    for hit in targets:
        assert hit.rows[1] - hit.rows[0] >= ROWS and hit.columns[1] - hit.columns[0] >= COLUMNS
        assert hit.rows[1] <= high and hit.columns[1] <= wide
        columns = set(range(*hit.columns))
        assert not columns & taken
        taken |= columns
    return {hit.action.name: hit for hit in targets}


async def touch(pilot, hit) -> None:
    await pilot.click(offset=(sum(hit.columns) // 2, sum(hit.rows) // 2))
    await pilot.pause(0.03)


@pytest.mark.parametrize("size", ENDS)
async def test_a_sweep_is_had_with_one_hand(fake, scenes, size) -> None:
    """A push wants no press at all, a bad one a single touch: two at the most, each three rows by eight columns."""
    fake.run = RunState("r1", "fence-square", "big-sled", "cabinet", scenes.place, "Is it square?")
    async with screen(fake, scenes, size) as (app, pilot):
        await scenes.until(pilot, lambda t: "SET UP" in t)
        await touch(pilot, bar(app)["press"])
        assert len(fake.of(Press)) == 1
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t)
        targets = bar(app)
        assert "press" not in targets and {"undo", "keys"} <= set(targets)
        await touch(pilot, targets["undo"])
        assert len(fake.of(Undo)) == 1
        fake.say(
            PromptChanged("r1", "fence-square", "big-sled", msgspec.structs.replace(scenes.push, moving=True))
        )
        await scenes.until(pilot, lambda t: "MOVING" in t)
        assert {"undo", "keys"} <= set(bar(app))


@pytest.mark.parametrize(("size", "phase"), [*zip(SIZES, ["lean", "go", "tighten", "go"], strict=True)])
async def test_the_live_move_is_answered_by_touch(fake, scenes, size, phase) -> None:
    fake.last = [scenes.finding()]
    async with screen(fake, scenes, size) as (app, pilot):
        fake.say(LiveMoveNotice(True, phase, "Words.", True, "left", "away", 0.05, False, 0.09, 0.14, 0.08))
        await scenes.until(pilot, lambda t: "LIVE" in t)
        await touch(pilot, bar(app)["press"])
        assert len(fake.of(Press)) == 1


@pytest.mark.ci
@pytest.mark.parametrize("size", SOME)
async def test_every_action_is_come_to_by_touch_alone(fake, scenes, size) -> None:
    """What the row of keys has no room for stands in the list of all keys, screenful after screenful."""
    fake.last = [scenes.finding()]
    async with screen(fake, scenes, size) as (app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t)
        await touch(pilot, bar(app)["keys"])
        await scenes.until(pilot, lambda t: "All keys" in t)
        rows, seen = len(app.controller.rows()), set()
        for _ in range(rows):
            seen |= {hit.row for hit in app._frame.targets if hit.row is not None}
            if "further" not in bar(app):
                break
            await touch(pilot, bar(app)["further"])
        assert seen == set(range(rows)) == set(range(len(app.controller.actions)))


@pytest.mark.parametrize("size", SOME)
async def test_a_check_is_begun_by_touch_alone(fake, scenes, size) -> None:
    async with screen(fake, scenes, size) as (app, pilot):
        await scenes.until(pilot, lambda t: "1 begins a check" in t)
        await touch(pilot, bar(app)["check"])
        await scenes.until(pilot, lambda t: "Which check?" in t)
        for words in ("Is the sled's fence square", "Begin"):
            hit = next(h for h in app._frame.targets if h.row == 0)
            await touch(pilot, hit)
            assert words
        assert fake.of(Begin)[0].check == "fence-square"


async def test_rows_of_a_list_are_as_tall_as_there_is_room(fake, scenes) -> None:
    async with screen(fake, scenes, (80, 24)) as (app, pilot):
        await pilot.press("1")
        await scenes.until(pilot, lambda t: "Which check?" in t)
        rows = [hit.row for hit in app._frame.targets if hit.row is not None]
        assert all(rows.count(row) >= ROWS for row in set(rows))


async def test_the_wheel_goes_through_a_list(fake, scenes) -> None:
    async with screen(fake, scenes, (40, 15)) as (app, pilot):
        await pilot.press("slash")
        await scenes.until(pilot, lambda t: "All keys" in t)
        app.controller.wheel(3)
        assert app.NAV.cursor == 3
        app.controller.wheel(-9)
        assert app.NAV.cursor == 0


async def test_no_first_key_means_two_things_at_once(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with screen(fake, scenes, (80, 24)) as (app, pilot):
        for words, ask in (("OUT", None), ("READY", scenes.push), ("SET UP", scenes.place)):
            if ask is not None:
                fake.say(PromptChanged("r1", "fence-square", "big-sled", ask))
            await scenes.until(pilot, lambda t, words=words: words in t)
            keys = [a.keys[0] for a in app.controller.actions if a.can(app.controller)]
            assert len(keys) == len(set(keys)) >= 5


async def test_the_row_of_keys_lists_all_that_can_be_done_where_it_is_wide(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with screen(fake, scenes, (200, 60)) as (app, pilot):
        await scenes.until(pilot, lambda t: "OUT" in t)
        for words in ("OUT", "READY"):
            await scenes.until(pilot, lambda t, words=words: words in t)
            can = {a.name for a in app.controller.actions if a.can(app.controller)}
            # what Enter does already is not said twice
            assert can - set(bar(app)) <= {"again", "move", "more"}
            fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))


async def test_the_screw_is_slackened_again_by_the_key_that_takes_back(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with screen(fake, scenes, (40, 15)) as (app, pilot):
        fake.say(LiveMoveNotice(True, "go", "Words.", True, "left", "away", 0.05, False, 0.09, 0.14, 0.08))
        await scenes.until(pilot, lambda t: "move it" in t)
        assert "undo" not in bar(app)
        fake.say(
            LiveMoveNotice(
                True, "tighten", "Words.", True, "left", "away", 0.05, False, 0.09, 0.14, 0.08, -0.03
            )
        )
        await scenes.until(pilot, lambda t: "slack off" in t)
        await touch(pilot, bar(app)["undo"])
        assert len(fake.of(Undo)) == 1


@pytest.mark.parametrize("size", SIZES)
async def test_a_finger_that_taps_one_place_again_and_again_gives_nothing_up(fake, scenes, size) -> None:
    fake.run = scenes.running(scenes.push)
    async with screen(fake, scenes, size) as (app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t)
        place = bar(app)["give-up"]
        for _ in range(4):
            await touch(pilot, place)
            app.NAV.sure_at -= 1.0  # a second has gone by
            assert app.NAV.page == "work" or app.NAV.sure is None
        assert not fake.of(Abandon)
        app.NAV.home()
        app.controller.do(place.action)
        await pilot.pause(0.03)
        app.NAV.sure_at -= 1.0
        app._draw_now()
        await touch(pilot, bar(app)["press"])
        assert len(fake.of(Abandon)) == 1
