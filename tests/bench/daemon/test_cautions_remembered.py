"""A caution that was acknowledged today is known from the log when the daemon starts again."""

from __future__ import annotations

import sqlite3

import pytest

from bench.checks import find
from bench.protocol import Abandon, Begin, Press, PromptChanged

SETTINGS = '[indicator]\nport = "{indicator}"\n[travel]\nport = "{travel}"\n'
CAUTIONS = [caution.words for caution in find("fence-square").cautions]


async def begun(bench, kind: str = "fence-square") -> list[str]:
    """The cautions that are asked at the beginning of a check, which is then acknowledged and given up."""
    wire = await bench.talk()
    wire.send(Begin(kind, lean=False))
    asked = await bench.until(wire, PromptChanged, lambda m: m.ask is not None)
    if asked.ask.phase == "cautions":
        wire.send(Press())
        await bench.until(wire, PromptChanged, lambda m: m.ask is not None and m.ask.phase == "place")
    wire.send(Abandon())
    await bench.until(wire, PromptChanged, lambda m: m.run is None)
    return asked.ask.cautions


async def again(bench) -> None:
    await bench.stop()
    await bench.start()


async def test_none_is_asked_again_after_a_restart_on_the_same_day(first_bench) -> None:
    async with first_bench(SETTINGS) as bench:
        assert await begun(bench) == CAUTIONS
        await again(bench)
        assert await begun(bench) == []
        # known from the log alone, as nothing was asked in that life
        await again(bench)
        assert await begun(bench) == []


async def test_a_blade_that_is_wanted_otherwise_is_known_from_the_log_too(first_bench) -> None:
    async with first_bench(SETTINGS) as bench:
        await begun(bench)
        await again(bench)
        assert await begun(bench, "slot-blade") == [
            c.words for c in find("slot-blade").cautions if c.about == "blade"
        ]


@pytest.mark.parametrize("of_another_boot", [False, True])
async def test_those_of_yesterday_or_of_an_unknown_day_are_asked(first_bench, of_another_boot: bool) -> None:
    """Another boot's day is not known where no network has set its clock."""
    async with first_bench(SETTINGS) as bench:
        await begun(bench)
        await bench.stop()
        with sqlite3.connect(bench.folder / "log.db") as db:
            if not of_another_boot:
                db.execute(
                    "UPDATE event SET monotonic_ns = monotonic_ns - 86400000000000, wall_s = wall_s - 86400"
                )
            else:
                db.execute("UPDATE boot SET boot_id = 'another'")
        db.close()
        await bench.start()
        assert await begun(bench) == CAUTIONS
