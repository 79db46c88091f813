"""By a thumb, a finger or a mouse: what can be touched, how large it is, and that nothing needs a key."""

from __future__ import annotations

import msgspec
import pytest
from console_job import Job, bench, shows, wait
from console_job import rows as shown_rows
from textual import events
from textual.widgets import OptionList

from bench.console.app import make_console
from bench.console.host import ExtraKey
from bench.console.screens import confirm
from bench.console.widgets.act_bar import ActButton
from bench.protocol import Abandon, Begin, LiveMoveNotice, Notice, Press, PromptChanged, Undo

SIZES = [
    (40, 15),
    pytest.param((80, 24), marks=pytest.mark.ci),
    pytest.param((160, 48), marks=pytest.mark.ci),
]
ROWS, COLUMNS = 3, 8  # of a target in a sweep, at the least


async def bar(app, pilot) -> dict[str, ActButton]:
    """The acts by their words: each large enough, on the screen, none over another."""
    await pilot.pause()
    buttons = [b for b in app.screen.query(ActButton) if b.display]
    taken: set[int] = set()
    for one in buttons:
        region = one.region
        assert region.height >= ROWS and region.width >= COLUMNS, region
        assert region.right <= app.size.width and region.bottom <= app.size.height
        columns = set(range(region.x, region.right))
        assert not columns & taken
        taken |= columns
    return {str(one.label).split("  ", 1)[1]: one for one in buttons}


async def touch(pilot, widget) -> None:
    await pilot.click(widget)
    await pilot.pause()


@pytest.mark.parametrize("size", SIZES)
async def test_a_sweep_is_had_with_one_hand(fake, scenes, size) -> None:
    """A push wants no press at all, a bad one a single touch: two at the most, each three rows by eight columns."""
    fake.run = scenes.running(scenes.place)
    async with scenes.screen(fake, size=size) as (app, pilot):
        await scenes.until(pilot, lambda t: "it stands" in t)
        await touch(pilot, (await bar(app, pilot))["it stands"])
        assert len(fake.of(Press)) == 1
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t and "undo pass" in t)
        assert set(await bar(app, pilot)) == {"undo pass"}
        await touch(pilot, (await bar(app, pilot))["undo pass"])
        assert len(fake.of(Undo)) == 1
        moving = msgspec.structs.replace(scenes.push, moving=True)
        fake.say(PromptChanged("r1", "fence-square", "big-sled", moving))
        await scenes.until(pilot, lambda t: "MOVING" in t)
        assert "undo pass" in await bar(app, pilot)


class PretendHands:
    """An extension with one key for a thumb, while there is something to push."""

    leaving = "Leave?"

    def __init__(self) -> None:
        self.pushes = False
        push = ExtraKey("h", lambda: "push", "The hands push.", lambda: None, lambda: self.pushes, leads=True)
        self.keys = (push,)

    def tip(self, page, view, requests) -> str:
        return ""


@pytest.mark.parametrize("size", SIZES)
async def test_a_second_tap_at_the_same_place_takes_no_pass_back(fake, scenes, size) -> None:
    """What takes back never comes to stand where Enter or the hands' key stood."""
    turned = msgspec.structs.replace(scenes.place, step=2, taken=1)
    fake.run = scenes.running(turned)
    hands = PretendHands()
    app = make_console(fake.path, extension=hands)
    async with app.run_test(size=size) as pilot:
        await scenes.until(pilot, lambda t: "it stands" in t and "undo pass" in t)
        stood = (await bar(app, pilot))["it stands"].region
        hands.pushes = True
        fake.say(
            PromptChanged("r1", "fence-square", "big-sled", msgspec.structs.replace(scenes.push, taken=0))
        )
        await scenes.until(pilot, lambda t: "H  push" in t and "undo pass" not in t)
        push = (await bar(app, pilot))["push"].region
        fake.say(PromptChanged("r1", "fence-square", "big-sled", scenes.push))
        await scenes.until(pilot, lambda t: "READY" in t and "undo pass" in t)
        now = await bar(app, pilot)
        assert now["undo pass"].region.right == size[0] - 1
        undo = now["undo pass"].region
        assert not undo.overlaps(stood) and not undo.overlaps(push)
        assert now["push"].region == push
        for place in (stood, push):
            await pilot.click(offset=place.center)
        await pilot.pause()
        assert not fake.of(Undo)


async def test_two_quick_taps_mark_no_words(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake, size=(40, 46)) as (app, pilot):
        await scenes.until(pilot, lambda t: "undo pass" in t)
        await pilot.click((await bar(app, pilot))["undo pass"], times=2)
        assert not app.screen.selections


async def test_the_rest_of_a_result_is_reached_by_a_thumb(fake, scenes) -> None:
    """A finger that is drawn over a browser's page scrolls nothing: one touch does."""
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=(40, 24)) as (app, pilot):
        await scenes.until(pilot, lambda t: "make the move" in t and "read on" in t)
        box = app.screen.query_one("#found")
        await touch(pilot, (await bar(app, pilot))["read on"])
        assert box.scroll_offset.y > 0


async def test_what_was_said_is_read_whole_on_a_tall_phone(fake, scenes) -> None:
    fake.run = scenes.running(scenes.push)
    async with scenes.screen(fake, size=(40, 46)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "undo pass" in t)
        for n in range(3):
            fake.say(Notice("lean", f"Sentence {n} of those that were said takes two rows, end {n}."))
        await scenes.until(pilot, lambda t: all(f"end {n}." in t for n in range(3)))


async def test_the_live_move_is_answered_and_taken_back_by_touch(fake, scenes) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        live = LiveMoveNotice(True, "lean", "Words.", True, "left", "away", 0.05, False, 0.09, 0.14, 0.08)
        fake.say(live)
        await scenes.until(pilot, lambda t: "it is leaned" in t)
        await touch(pilot, (await bar(app, pilot))["it is leaned"])
        assert len(fake.of(Press)) == 1 and "slack off" not in await bar(app, pilot)
        fake.say(msgspec.structs.replace(live, phase="tighten", drawn=-0.03))
        await scenes.until(pilot, lambda t: "it is tight" in t and "slack off" in t)
        await touch(pilot, (await bar(app, pilot))["slack off"])
        assert len(fake.of(Undo)) == 1


async def test_a_check_is_begun_by_touch_alone(fake, scenes) -> None:
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        await touch(pilot, (await bar(app, pilot))["begin a check"])
        await scenes.until(pilot, lambda t: "Which check?" in t)
        thumb = Thumb(app, pilot)
        await thumb.press("1")
        await scenes.until(pilot, lambda t: "Begin" in t)
        await thumb.press("1")
        assert fake.of(Begin)[0].check == "fence-square"


async def test_a_finger_that_taps_one_place_again_and_again_gives_nothing_up(
    fake, scenes, monkeypatch
) -> None:
    """Nor does one that taps yes at once; after a moment it does."""
    fake.run = scenes.running(scenes.push)
    now = [100.0]
    monkeypatch.setattr(confirm, "monotonic", lambda: now[0])
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        await scenes.until(pilot, lambda t: "READY" in t and "give up" in t)
        footer = next(k for k in app.screen.query("FooterKey") if k.key == "9")
        place = footer.region.offset
        for _ in range(3):
            await pilot.click(offset=place)
            await pilot.pause()
        assert not fake.of(Abandon)
        screen = app.screen
        assert isinstance(screen, confirm.ConfirmScreen)
        screen._since = 100.0
        await pilot.click("#yes")
        assert not fake.of(Abandon)
        now[0] += 1.0
        await pilot.click("#yes")
        await pilot.pause()
        assert len(fake.of(Abandon)) == 1


class Thumb:
    """Taps what stands on the screen in place of keys: the acts below, and the rows of lists."""

    def __init__(self, app, pilot) -> None:
        self.app, self.pilot = app, pilot

    async def press(self, key: str) -> None:
        if key == "enter":
            await wait(
                lambda: any(b.display and _key(b) == "Enter" for b in self.app.screen.query(ActButton))
            )
            (act,) = [b for b in (await bar(self.app, self.pilot)).values() if _key(b) == "Enter"]
            await self.pilot.click(act)
        else:
            await self.row(key)
        await self.pilot.pause()

    async def row(self, digit: str) -> None:
        """The row of a list that stands under that digit."""
        assert self.app.screen.query(OptionList), "no list is there to be tapped"
        rows = enumerate(shown_rows(self.app))
        place = next((y for y, text in rows if text.startswith(f" {digit}  ")), None)
        if place is None:
            await touch(self.pilot, (await bar(self.app, self.pilot))["further"])
            return await self.row(digit)
        await self.pilot.click(offset=(10, place))


def _key(button: ActButton) -> str:
    return str(button.label).split("  ", 1)[0]


@pytest.mark.slow
async def test_the_whole_job_by_touch_on_a_phone(tmp_path) -> None:
    """From home to a verified result without a key; the hands push, tap and turn the screws."""
    async with bench(tmp_path) as (saw, hands_client, folder, _daemon):
        app = make_console(folder / "socket")
        async with app.run_test(size=(40, 15)) as pilot:
            await wait(lambda: app.view.status_known and bool(app.view.checks))
            thumb = Thumb(app, pilot)
            job = Job(thumb.press, hands_client)
            job.by_key = False
            await shows(app, "begin a check")
            await thumb.press("enter")
            await shows(app, "Which check?")
            await thumb.row("1")
            await shows(app, "Begin")
            await thumb.row("1")
            await wait(lambda: hands_client.ask is not None)
            await job.until(lambda: app.view.result is not None)
            await shows(app, "make the move")
            await thumb.press("enter")
            await shows(app, "Make it live")
            await thumb.row("1")
            await shows(app, "How does the indicator stand")
            await thumb.row("1")
            await wait(lambda: app.view.live is not None)
            await job.until(lambda: app.view.live is None)
            await shows(app, "check again")
            await thumb.press("enter")
            await wait(lambda: hands_client.ask is not None)
            await job.until(lambda: app.view.result is not None)
            assert app.view.finding.verdict == "inside", app.view.finding
            assert abs(saw.truth()["rotation"]) <= app.view.finding.quantities[0].tolerance
            assert app.last_key == ""  # none was pressed


@pytest.mark.parametrize("size", SIZES)
async def test_rows_of_lists_are_targets_for_a_thumb_once_it_has_touched(fake, scenes, size) -> None:
    """Three cells high for a finger, and reached to the last by touch; one high again for keys."""
    async with scenes.screen(fake, size=size) as (app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        await touch(pilot, (await bar(app, pilot))["begin a check"])
        await scenes.until(pilot, lambda t: "Which check?" in t and "further" in t)
        rows = app.screen.query_one(OptionList)
        high = [rows._line_cache.heights[n] for n in range(rows.option_count)]
        assert min(high) >= ROWS and rows.region.width >= COLUMNS
        while "What is wrong?" not in "\n".join(shown_rows(app)):
            await touch(pilot, (await bar(app, pilot))["further"])
        await Thumb(app, pilot).press("4")
        await scenes.until(pilot, lambda t: "Which check?" not in t)
        await pilot.press("full_stop", "full_stop", "1")
        await scenes.until(pilot, lambda t: "Enter  choose" in t)
        if size[1] < 40:
            assert min(rows._line_cache.heights.values()) == 1


async def test_a_finger_drawn_over_a_list_scrolls_it_and_chooses_nothing(fake, scenes) -> None:
    fake.last = fake.past = [scenes.finding("inside", n * 1e-5, f"f{n}") for n in range(20)]
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        await scenes.until(pilot, lambda t: "next check" in t)
        await pilot.press("6")
        await scenes.until(pilot, lambda t: "Results of" in t and "good enough" in t)
        rows, shown = app.screen.query_one(OptionList), app.screen
        await pilot.mouse_down(OptionList, offset=(5, 6))
        drawn(app, OptionList, 6, 1)
        await scenes.until(pilot, lambda _: rows.scroll_offset.y == 5)
        await pilot.mouse_up(OptionList, offset=(5, 1))
        assert app.screen is shown, "the row below the finger was chosen"
        await pilot.click(OptionList, offset=(5, 1))
        await scenes.until(pilot, lambda _: app.screen is not shown)


def drawn(app, where, first: int, last: int) -> None:
    """The finger, row by row from the first to the last of that widget, as a terminal tells it."""
    region = app.screen.query_one(where).region
    for y in range(region.y + first, region.y + last - 1, -1):
        app.post_message(events.MouseMove(None, region.x + 5, y, 0, -1, 1, False, False, False))


@pytest.mark.parametrize("size", SIZES)
async def test_a_number_and_a_name_are_typed_by_touch_alone(fake, scenes, size) -> None:
    async with scenes.screen(fake, size=size) as (app, pilot):
        await scenes.until(pilot, lambda t: "begin a check" in t)
        await pilot.press("7", "2")
        await scenes.until(pilot, lambda t: "Pivot to blade" in t)
        thumb = Thumb(app, pilot)
        await pilot.click("#title")  # a finger is at work
        await thumb.press("4")
        for key in ("2", "5", "1", "rub out", "0", ".", "5", "keep"):
            await pad(app, pilot, key)
        await scenes.until(pilot, lambda t: "Pivot to blade: 250.5 mm" in t)
        await thumb.press("1")
        for key in (*"fine", "q-z", "-", "2", "keep"):
            await pad(app, pilot, key)
        await scenes.until(pilot, lambda t: "Name: fine-2" in t)
        await thumb.press("4")
        await pad(app, pilot, "leave")
        await scenes.until(pilot, lambda t: "250.5 mm" in t)


async def pad(app, pilot, key: str) -> None:
    """One key of those on the screen: each a target for a thumb, none cut off."""
    await pilot.pause()
    keys = {str(b.label): b for b in app.screen.query("Pad ActButton").results(ActButton)}
    assert len(keys) == 20
    for one in keys.values():
        assert one.region.height >= ROWS and one.region.width >= COLUMNS
        assert app.screen.region.contains_region(one.region)
    await touch(pilot, keys[key])
