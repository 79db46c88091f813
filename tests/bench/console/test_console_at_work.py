"""The screen on a real daemon behind the virtual saw, driven by keys as a user would."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bench.console.app import make_console
from bench.demo import connect, end_daemon, start_daemon, virtual_bench
from bench.demo_screen import Following, actions


def seen(app) -> str:
    return "\n".join(app.sheet.text())


async def leave(following: Following) -> None:
    await following.close()


async def until(pilot, met: Callable[[str], bool], seconds: float = 12.0) -> str:
    text = ""
    for _ in range(int(seconds / 0.1)):
        text = seen(pilot.app)
        if met(text):
            return text
        await pilot.pause(0.1)
    raise AssertionError(f"never came; the screen shows:\n{text}")


@pytest.mark.slow  # twelve real daemons; every day the same is seen on a scripted one
@pytest.mark.parametrize("look", ["shop", "pencil", "tube"])
@pytest.mark.parametrize("size", [(40, 15), (60, 20), (80, 24), (200, 60)])
async def test_every_size_and_look_says_what_matters(tmp_path, size, look) -> None:
    """Reading, unit, state and next act, inside the screen; on the Pi's own screen only its code page."""
    async with virtual_bench(3, folder=tmp_path) as (_saw, hands, _ports, folder, _daemon):
        await hands.put("handle-left")
        app = make_console(folder / "socket", look=look)
        async with app.run_test(size=size) as pilot:
            text = await until(pilot, lambda t: "mm" in t and "begin" in t)
            assert "pretend-sled" in text
            assert "indicator" in text
            assert all(len(line.rstrip()) <= size[0] for line in text.splitlines())
            if look == "tube":
                for char in set(text):
                    char.encode("cp437")


@pytest.mark.slow
async def test_from_first_start_to_good_enough_with_all_that_goes_wrong(tmp_path) -> None:
    """By keys alone: a cable pulled, the screen killed, the daemon killed, a square not turned over, a pass undone."""
    async with virtual_bench(3, folder=tmp_path) as (saw, hands, ports, folder, daemon):
        following = Following(await connect(folder), hands, ports)
        again = None
        try:
            app = make_console(folder / "socket", look="shop", extra=actions(following))
            async with app.run_test(size=(80, 24)) as pilot:
                await until(pilot, lambda t: "1 begins a check" in t)
                await pilot.press("1", "1", "1")
                await until(pilot, lambda t: "READ FIRST" in t and "Unplug the saw" in t)
                await pilot.press("enter")
                await _set_up_and_lean(pilot)
                # a cable pulled and put back: the pass is done again, nothing else is lost
                await pilot.press("h")
                await until(pilot, lambda t: "MOVING" in t)
                ports.unplug("indicator")
                text = await until(pilot, lambda t: "indicator not plugged in" in t)
                assert "This pass cannot be used: the indicator" in text
                await pilot.pause(1.0)
                ports.replug("indicator")
                await until(pilot, lambda t: "READY" in t and "0 of 3 kept" in t and "indicator reads" in t)
                await _pushes(pilot, 1)
            # the screen is gone in mid-check; another one comes to the same place
            app = make_console(folder / "socket", look="tube", extra=actions(following))
            async with app.run_test(size=(60, 20)) as pilot:
                await until(pilot, lambda t: "READY 1 of 3 kept" in t)
                assert len(app.state.passes) >= 1
                await _pushes(pilot, 2)
                await pilot.press("0")
                await until(pilot, lambda t: "is taken back" in t and "1 of 3 kept" in t)
                await _pushes(pilot, 2)
                daemon.kill()
                await daemon.wait()
                await until(pilot, lambda t: "no daemon" in t and "AWAY" in t)
                again = await start_daemon(folder)
                await leave(following)
                following = Following(await connect(folder), hands, ports)
                # somebody may have moved it: the set-up is asked again
                await until(pilot, lambda t: "SET UP 2 of 3 kept" in t and "goes on: 2 passes kept" in t)
            app = make_console(folder / "socket", look="shop", extra=actions(following))
            async with app.run_test(size=(80, 24)) as pilot:
                await _set_up_and_lean(pilot)
                saw.slip("not-turned")
                await _pushes(pilot, 3)
                # the second set-up is not made: the lean test tells
                await until(pilot, lambda t: "set-up 2 of 2" in t)
                await _set_up_and_lean(pilot, until_ready=False)
                await until(pilot, lambda t: "Was the square turned over?" in t.replace("\n", " "))
                await _set_up_and_lean(pilot)
                for kept in (1, 2):
                    await _pushes(pilot, kept)
                await until(pilot, lambda t: "(hands)" not in t)
                await pilot.press("h")
                await until(pilot, lambda t: "OUT" in t and "Move the right end AWAY" in t)
                await pilot.press("enter")
                text = await until(pilot, lambda t: "Made with the leaves" in t)
                move = app.state.finding.move
                await hands.turn_fence(move.end, move.way, sum(move.leaves))
                await pilot.press("2")
                await until(pilot, lambda t: "The move is noted." in t)
                await pilot.press("enter")
                await until(pilot, lambda t: "after the move" in t or "SET UP" in t)
                if app.state.ask.phase == "cautions":
                    await pilot.press("enter")
                for _ in range(2):
                    await _set_up_and_lean(pilot)
                    for kept in (1, 2):
                        await _pushes(pilot, kept)
                    await until(pilot, lambda t: "(hands)" not in t)
                    await pilot.press("h")
                    await pilot.pause(2.5)
                text = await until(pilot, lambda t: "GOOD ENOUGH" in t)
                assert "Stop here" in text
                assert abs(saw.truth()["rotation"]) <= app.state.finding.quantities[0].tolerance
        finally:
            await leave(following)
            if again is not None:
                await end_daemon(again)


async def _set_up_and_lean(pilot, *, until_ready: bool = True) -> None:
    """Enter when the hands have put it, Enter at either lean."""
    await until(pilot, lambda t: "SET UP" in t)
    await pilot.pause(1.2)
    await pilot.press("enter")
    for side in ("left", "right"):
        await until(pilot, lambda t, side=side: f"to the {side}" in t and "LEAN TEST" in t)
        await pilot.pause(1.0)
        await pilot.press("enter")
    if until_ready:
        await until(pilot, lambda t: "READY" in t)


async def _pushes(pilot, kept: int) -> None:
    """Push until so many are kept in this set-up (or the next set-up is asked for)."""
    for _ in range(4):
        ask = pilot.app.state.ask
        if ask.taken >= kept or ask.phase == "place":
            return
        await until(pilot, lambda t: "READY" in t and "(hands)" not in t)
        before = ask.taken
        await pilot.press("h")
        await until(
            pilot,
            lambda t, before=before: (
                pilot.app.state.ask.taken > before or pilot.app.state.ask.phase == "place"
            ),
        )
    raise AssertionError("the pushes were not kept")


@pytest.mark.slow
async def test_a_check_by_keys_with_a_daemon_killed_in_the_middle(tmp_path) -> None:
    async with virtual_bench(3, folder=tmp_path) as (_saw, hands, ports, folder, daemon):
        following = Following(await connect(folder), hands, ports)
        app = make_console(folder / "socket", look="shop", extra=actions(following))
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda t: "begin" in t)
            await pilot.press("1", "enter", "1")
            await until(pilot, lambda t: "READ FIRST" in t and "Unplug the saw" in t)
            await pilot.press("enter")
            await until(pilot, lambda t: "SET UP" in t and "handle" in t)
            await pilot.pause(1.0)
            await pilot.press("enter")
            text = await until(pilot, lambda t: "LEAN TEST" in t or "READY" in t)
            for side in ("left", "right"):
                if "LEAN" in text:
                    await until(pilot, lambda t, side=side: f"to the {side}" in t)
                    await pilot.pause(1.2)
                    await pilot.press("enter")
            await until(pilot, lambda t: "READY" in t)
            await pilot.press("h")
            await until(pilot, lambda t: "1 of 3 kept" in t)
            daemon.kill()
            await daemon.wait()
            await until(pilot, lambda t: "daemon" in t.lower())
            again = await start_daemon(folder)
            try:
                text = await until(pilot, lambda t: "SET UP" in t)
                assert "1 of 3 kept" in text
            finally:
                await end_daemon(again)
        await leave(following)
