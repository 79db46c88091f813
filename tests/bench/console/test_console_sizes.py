"""Every phase at every size: the whole of what is asked stands inside the screen, with number, unit and act."""

from __future__ import annotations

import msgspec
import pytest
from everyday import ci

from bench.console.contents.strip import health
from bench.console.message_folding import fold
from bench.protocol import InstrumentState, LiveMoveNotice, Prompt, PromptChanged

SIZES = [
    (40, 15),
    *(ci((size,)) for size in [(80, 24), (60, 20), (160, 48)]),
]  # the tightest of them every day


def phases(scenes) -> list[tuple[Prompt, str]]:
    replace = msgspec.structs.replace
    mark = replace(
        scenes.push, phase="mark", words="Push to the mark at 25 mm, stop, press Enter, hold still.", enter=True,
        mark=1, marks=9,
    )  # fmt: skip
    lean = replace(
        scenes.place, phase="lean", words="Lean the sled to the left within its play, hold it there, press Enter.",
        lean="left",
    )  # fmt: skip
    remark = "That pass was 90 mm, the longest 220 mm: push right through to the end."
    return [
        (scenes.place, "SET UP"),
        (lean, "LEAN TEST"),
        (scenes.push, "READY"),
        (mark, "mark 1 of 9"),
        (replace(mark, waiting=True), "HOLD STILL"),
        (replace(scenes.push, ready=False, words="Leave the sled at rest a moment."), "WAIT"),
        (replace(scenes.push, remark=remark), remark),
    ]


def left(lines: list[str], words: str) -> bool:
    """Whether the words stand there, whatever stands beside them."""
    wide = len(lines[0]) if lines else 0
    rooms = {wide, wide - 36, wide // 2, wide // 3}
    return any(words in " ".join(" ".join(line[:room].split()) for line in lines) for room in rooms)


async def shown(app, pilot, scenes, words: str) -> list[str]:
    app.mark()
    await scenes.until(pilot, lambda t: left(t.splitlines(), words))
    return scenes.rows(app)


@pytest.mark.parametrize("size", SIZES)
async def test_all_that_is_asked_is_inside(fake, scenes, size) -> None:
    async with scenes.screen(fake, size=size) as (app, pilot):
        for ask, sign in phases(scenes):
            fold(app.view, PromptChanged("r1", "fence-square", "big-sled", ask, question="Is it square?"))
            await shown(app, pilot, scenes, sign)
            await shown(app, pilot, scenes, ask.words)
            kept = f"{ask.taken} of {ask.wanted} kept"
            await scenes.until(pilot, lambda t, kept=kept: "mm indicator" in t and kept in t)
            text = scenes.rows(app)
            scenes.inside(app, size)
            enters = any("Enter" in line for line in text[-4:])
            assert enters == (ask.enter and not ask.waiting)


@pytest.mark.parametrize("size", SIZES)
async def test_a_result_says_its_verdict_and_its_act(fake, scenes, size) -> None:
    acts = {
        "inside": ("√ GOOD ENOUGH", "nothing to move", "next check"),
        "outside": ("! OUT", "Move the left end", "make the move"),
        "cannot-tell": ("? TOO CLOSE TO CALL", "in all would settle it.", "2 more in each set-up"),
    }
    async with scenes.screen(fake, size=size) as (app, pilot):
        for verdict, (sign, act, word) in acts.items():
            app.view.last = [scenes.finding(verdict)]
            await shown(app, pilot, scenes, sign)
            await shown(app, pilot, scenes, act)
            await shown(app, pilot, scenes, f"Enter {word}")
            # the unit of the large figure
            await scenes.until(pilot, lambda t: any("mm" in line for line in t.splitlines()[1:9]))
            scenes.inside(app, size)


@pytest.mark.ci
@pytest.mark.parametrize("size", SIZES)
async def test_every_page_fits_and_says_how_to_go_back(fake, scenes, size) -> None:
    fake.last = [scenes.finding(), scenes.finding("inside", 0.00002, "b")]
    async with scenes.screen(fake, size=size) as (app, pilot):
        for keys in (["1"], ["1", "1"], ["3"], ["4"], ["5"], ["6"], ["7"], ["7", "2"], ["8"], ["slash"]):
            await pilot.press(*keys)
            await pilot.pause()
            text = "\n".join(scenes.rows(app)[-4:])
            assert "back" in text, keys
            scenes.inside(app, size)
            app.go_home()
            await pilot.pause()


@pytest.mark.parametrize("size", SIZES)
async def test_the_live_move_says_how_far_and_which_way(fake, scenes, size) -> None:
    fake.last = [scenes.finding()]
    async with scenes.screen(fake, size=size) as (app, pilot):
        said = LiveMoveNotice(
            True, "go", "0.052 mm to go away. Enter.", True, "left", "away", 0.052, target=0.144
        )
        fold(app.view, said)
        await shown(app, pilot, scenes, "0.052 mm to go away. Enter.")
        text = "\n".join(await shown(app, pilot, scenes, "LIVE move it"))
        assert "mm to go" in text and "left end away" in text
        assert "tighten as it is" in text and "it is there" not in text


async def test_every_trouble_of_an_instrument_has_a_sign_and_a_word(fake, scenes) -> None:
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        for state in ("absent", "busy", "denied", "silent", "garbled", "flooding"):
            fake.say(InstrumentState("indicator", "indicator", state, f"A whole sentence, {state}."))
            await scenes.until(pilot, lambda t, state=state: f"sentence, {state}." in t)
            words, role = health(app.view.instruments["indicator"], app.view.clock())
            assert role == "bad"
            await scenes.until(pilot, lambda t, sign=f"! indicator {words}": sign in t.splitlines()[0])


async def test_not_recorded_is_said_before_all_else(fake, scenes) -> None:
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        app.view.log_state = "not-recorded"
        await shown(app, pilot, scenes, "NOT RECORDED")


LONG = (
    "45-degree square on the LEFT fence, one leg on the fence. Corner A at the fence's outer end. A and B are"
    " pencilled at its two sharp corners. The long edge lies along the travel; pass over its middle. Indicator"
    " standing on the RIGHT of the square. Its tip touches as high as the leading teeth."
)


async def test_a_long_set_up_is_read_on_before_it_stands(fake, scenes) -> None:
    async with scenes.screen(fake, size=(40, 15)) as (app, pilot):
        ask = msgspec.structs.replace(scenes.place, words=LONG)
        fold(app.view, PromptChanged("r1", "mitre-square", "big-sled", ask, question="Is it square?"))
        app.mark()
        text = await scenes.until(pilot, lambda t: "Enter  read on" in t)
        assert "45-degree square" in text and "leading teeth" not in text
        while "Enter  read on" in text:
            await pilot.press("enter")
            text = await scenes.until(pilot, lambda t, before=text: t != before)
        text = await scenes.until(pilot, lambda t: "it stands" in t)
        assert "leading teeth." in text, text
        assert "mm indicator" in text and "SET UP" in text
        lean = msgspec.structs.replace(
            scenes.place, phase="lean", words="Lean the sled to the left.", lean="left"
        )
        fold(app.view, PromptChanged("r1", "mitre-square", "big-sled", lean))
        app.mark()
        await scenes.until(pilot, lambda t: "it is leaned" in t and "Lean the sled to the left." in t)
