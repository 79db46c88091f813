"""A first start by keys of a number pad alone, on a real daemon and real pseudo-terminals, to the first check."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest
from console_job import drawn, rows
from plunger import press_plunger, slip_leaf

from bench.console.app import make_console
from bench.console.first_start import STAGES, Guide, next_stage
from bench.console.message_folding import fold
from bench.console.view_model import ViewModel
from bench.protocol import Cable, Cables, GearReply, InstrumentState, PutUnits, SetupNotice, StatusReply
from bench.settings.settings_file import load


def seen(app) -> str:
    return "\n".join(rows(app))


def flat(text: str) -> str:
    return " ".join(text.split())


async def until(pilot, met: Callable[[str], bool]) -> str:
    return await drawn(pilot.app, lambda text: met(flat(text)))


async def keys(pilot, *pressed: str) -> None:
    for key in pressed:
        await pilot.press(key)


async def find_the_indicator(pilot, bench) -> None:
    await until(pilot, lambda t: "Press the indicator's plunger" in t and "2 cables heard" in t)
    await press_plunger(bench.hands, 1)
    await until(pilot, lambda t: "SEEN the indicator" in t and "keep it" in t)
    assert not bench.settings_file.exists()
    await pilot.press("enter")


@pytest.mark.ci
async def test_numbers_at_once_and_a_pressed_plunger_is_seen(first_bench) -> None:
    async with first_bench() as bench:
        app = make_console(bench.folder / "socket", theme="shop")
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda t: "pretend-travel 0.0" in t and "pretend-indicator" in t)
            await find_the_indicator(pilot, bench)
            await until(pilot, lambda t: "away from you" in " ".join(t.split()))
            assert load(bench.settings_file).indicator is not None


@pytest.mark.slow
@pytest.mark.parametrize("size", [(80, 24), (40, 15)])
async def test_numbers_at_once_the_indicator_kept_and_the_rest_skipped(first_bench, size) -> None:
    """What there is not, or not now, is one key; then the sled is asked for."""
    async with first_bench() as bench:
        app = make_console(bench.folder / "socket", theme="shop")
        async with app.run_test(size=size) as pilot:
            text = await until(pilot, lambda t: "pretend-travel" in t and "mm" in t)
            assert "pretend-indicator" in text and "1 of 4" in text
            await find_the_indicator(pilot, bench)
            text = await until(pilot, lambda t: "away from you" in t.lower() and "2 of 4" in t)
            assert "No travel scale?" in flat(text) or size[0] < 56
            await pilot.press("0")
            await until(pilot, lambda t: "3 of 4" in t and "Rest the tip" in t)
            await pilot.press("0")
            await until(pilot, lambda t: "The sled" in t and "Pivot to blade" in t)
            assert app.view.setup is None
            assert load(bench.settings_file).gear.travel.by_marks
            assert all(len(line.rstrip()) <= size[0] for line in seen(app).splitlines())


@pytest.mark.slow  # a dozen seconds of hands
@pytest.mark.parametrize("size", [(80, 24), (40, 15)])
async def test_from_nothing_to_the_first_check_by_keys(first_bench, size) -> None:
    """Plunger, sled, leaf, description of the sled, a check that begins: one thing after the other."""
    async with first_bench() as bench:
        app = make_console(bench.folder / "socket", theme="shop")
        async with app.run_test(size=size) as pilot:
            await find_the_indicator(pilot, bench)
            await until(pilot, lambda t: "away from you" in " ".join(t.split()))
            await bench.hands.push(80.0, 400.0)
            await until(pilot, lambda t: "SEEN the travel" in t)
            await pilot.press("enter")
            await until(pilot, lambda t: "PROVE" in t and "it rests" in t)
            await pilot.pause(0.3)
            await pilot.press("enter")
            await until(pilot, lambda t: "Slip the leaf of 0.10 mm" in t and "it is in" in t)
            leaf = asyncio.create_task(slip_leaf(bench.hands, 0.10, 4.0))
            await pilot.pause(0.5)
            await pilot.press("enter")
            await until(pilot, lambda t: "right unit" in t and "Pivot to blade" in t)
            await keys(pilot, "3", "4", "2", "5", "0", "enter", "5", "5", "0", "0", "enter")
            await keys(pilot, "6", "4", "8", "0", "enter", "7", "6", "0", "0", "enter")
            if size == (80, 24):
                text = seen(app)
                assert "pivot" in text and "blade" in text and "leaf" in text
            await pilot.press("9")
            await until(pilot, lambda t: "sled-1" in t and "begin a check" in t)
            await leaf
            kept = load(bench.settings_file, bench.folder / "gear.toml")
            assert kept.indicator is not None and kept.travel is not None
            jig = kept.gear.jigs["sled-1"]
            assert (jig.pivot, jig.pivot_to_blade, jig.pivot_to_stop) == ("left", 250.0, 480.0)
            await keys(pilot, "enter", "1")
            await until(pilot, lambda t: "Passes in each set-up" in t)
            await pilot.press("1")
            await until(pilot, lambda t: "READ FIRST" in t and "Unplug the saw" in t)
            assert bench.service.station.run is not None


@pytest.mark.slow
async def test_left_and_done_again_from_the_list_of_cables(first_bench) -> None:
    """Another screen, the daemon begun anew in the middle: it is asked again; left by a key, found again by a key."""
    async with first_bench() as bench:
        app = make_console(bench.folder / "socket", theme="pencil")
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda t: "Press the indicator's plunger" in t)
            await bench.stop()
            await until(pilot, lambda t: "no daemon" in t)
            await bench.start()
            await until(pilot, lambda t: "Press the indicator's plunger" in t and "2 cables heard" in t)
            await pilot.press("9")
            await until(pilot, lambda t: "find the cables" in t)
            await pilot.press("enter", "1")
            await find_the_indicator(pilot, bench)
            await until(pilot, lambda t: "Kept in" in t and "indicator reads" in t)
            await pilot.press("8", "4", "full_stop", "2", "enter")
            await until(pilot, lambda t: "Another leaf for the proof: 0.20 mm" in t)
            await pilot.press("3")
            await until(pilot, lambda t: "PROVE unit and direction" in t)
            await pilot.press("enter")
            await until(pilot, lambda t: "Slip the leaf of 0.20 mm" in t)
            await pilot.press("9")
            await until(pilot, lambda t: "PROVE" not in t)


def test_the_guide_goes_on_from_what_is_there_also_on_another_screen(scenes) -> None:
    """What is asked next follows from what the daemon says; a sled or a result ends it, leaving it too."""
    state, navigation = ViewModel(lambda: 100.0), Guide()
    marks = InstrumentState("travel", "travel", "marks", "By marks.")
    indicator = InstrumentState("indicator", "indicator", "open", "It reads.", value=1.0, age=0.0)
    state.connecting = True
    assert next_stage(state, navigation) is None  # nobody has said yet how things stand
    fold(state, GearReply([], [], [], []))
    fold(state, StatusReply("s", "", "recording", [marks], None, []))
    assert next_stage(state, navigation) == "indicator"
    fold(state, StatusReply("s", "", "recording", [indicator, marks], None, []))
    assert next_stage(state, navigation) == "travel"
    navigation.skipped = frozenset({"travel"})
    assert next_stage(state, navigation) == "leaf"
    fold(state, SetupNotice("leaf", "kept", "I saw 0.10 mm going in.", on=False))
    assert next_stage(state, navigation) == "sled"
    navigation.skipped = frozenset(STAGES)
    assert next_stage(state, navigation) is None
    navigation.skipped = frozenset()
    fold(state, GearReply([scenes.sled], [], [], []))
    assert next_stage(state, navigation) is None
    fold(state, GearReply([], [], [], []))
    fold(state, StatusReply("s", "", "recording", [indicator, marks], None, [scenes.finding()]))
    assert next_stage(state, navigation) is None


async def test_where_nothing_is_heard_the_cable_s_own_words_say_what_would_do(fake, scenes) -> None:
    fake.jigs, fake.instruments = [], []
    words = "It may not be opened: add the daemon's user to the group dialout."
    async with scenes.screen(fake, size=(60, 20)) as (_app, pilot):
        silent = Cable("/dev/a", "bridge_A", "silent", "Nothing is sent.")
        fake.say(Cables([silent, Cable("/dev/b", "bridge_B", "denied", words)], True))
        text = flat(await scenes.until(pilot, lambda t: "no permission" in t))
        assert f"bridge_B: {words}" in text and "bridge_A" in text and "silent" in text


async def test_units_are_one_key_at_the_first_start(fake, scenes) -> None:
    fake.jigs, fake.instruments = [], []
    async with scenes.screen(fake, size=(40, 15)) as (_app, pilot):
        await scenes.until(pilot, lambda t: "use inches" in t)
        await pilot.press("3")
        await scenes.until(pilot, lambda _: fake.of(PutUnits))
    (put,) = fake.of(PutUnits)
    assert put.units == "inch"
