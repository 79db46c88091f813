"""One user, one screen, from no settings file at all to a sled that is good enough: nothing is put there beforehand."""

from __future__ import annotations

import asyncio

import pytest
from console_job import Job, shows, wait
from plunger import press_plunger, slip_leaf

from bench.console.app import make_console
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect
from bench.settings.settings_file import load


async def typed(pilot, row: str, text: str) -> None:
    await pilot.press(row, *text, "enter")


@pytest.mark.ci
@pytest.mark.timeout(240)
async def test_from_no_settings_file_to_good_enough(first_bench) -> None:
    async with first_bench() as bench:
        saw, hands = bench.saw, bench.hands
        hands_client = HandsClient(await connect(bench.folder), hands)
        app = make_console(bench.folder / "socket", theme="shop")
        async with app.run_test(size=(80, 24)) as pilot:
            assert not bench.settings_file.exists()
            # the instruments, found by what they do
            await shows(app, "Press the indicator's plunger", "2 cables heard")
            await press_plunger(hands, 1)
            await shows(app, "SEEN the indicator")
            await pilot.press("enter")
            await shows(app, "2 of 4")
            await hands.push(80.0, 400.0)
            await shows(app, "SEEN the travel")
            await pilot.press("enter")
            await shows(app, "PROVE", "it rests")
            await pilot.pause(0.3)
            await pilot.press("enter")
            await shows(app, "Slip the leaf of 0.10 mm", "it is in")
            leaf = asyncio.create_task(slip_leaf(hands, 0.10, 4.0))
            await pilot.pause(0.5)
            await pilot.press("enter")
            await shows(app, "right unit", "Pivot to blade")
            await leaf
            # the sled, as it is; its pivot stands right unless turned
            if saw.pivot == "left":
                await pilot.press("3")
            await typed(pilot, "4", f"{saw.pivot_to_blade:g}")
            await typed(pilot, "5", f"{saw.pivot_to_screw:g}")
            await typed(pilot, "6", f"{saw.pivot_to_stop:g}")
            await typed(pilot, "7", "600")
            await pilot.press("9")
            await shows(app, "sled-1", "begin a check", "sled-1 is kept in gear.toml.")
            assert (
                load(bench.settings_file, bench.folder / "gear.toml").gear.jigs["sled-1"].pivot == saw.pivot
            )
            # the check
            job = Job(pilot.press, hands_client)
            job.by_key = False
            before = saw.truth()["rotation"]
            for key in ("enter", "1", "1"):
                await pilot.press(key)
            await wait(lambda: hands_client.ask is not None)
            await job.until(lambda: app.view.result is not None)
            finding = app.view.finding
            fence = finding.quantities[0]
            assert finding.verdict == "outside" and abs(fence.value - before) <= 1.5 * fence.uncertainty
            # the move, live, for no leaf is known
            await shows(app, "OUT", f"Move the {finding.move.end} end", f"{finding.move.way} ")
            assert not finding.move.leaves
            for key in ("enter", "1", "1"):
                await pilot.press(key)
            await wait(lambda: app.view.live is not None)
            await job.until(lambda: hands_client.live is not None and hands_client.live.phase == "tighten")
            hands_client.hand()
            await wait(lambda: hands_client.tight and not hands_client.busy)
            await wait(lambda: abs(app.view.live.drawn or 0.0) > 0.02)  # what the screw drew is heard
            await pilot.press("0")  # slackened, to aim past it
            await wait(lambda: app.view.live.phase == "go")
            await job.until(lambda: hands_client.live is None)
            # and its proof
            await shows(app, "The move is noted. Check again.")
            await pilot.press("enter")
            await wait(lambda: hands_client.ask is not None)
            await job.until(lambda: app.view.result is not None)
            await shows(app, "GOOD ENOUGH")
            assert abs(saw.truth()["rotation"]) <= app.view.finding.quantities[0].tolerance
        await hands_client.close()
