"""A daemon at rest looks at its ports in rounds; a check, and a client that wants each reading, end that."""

from __future__ import annotations

import time
from itertools import pairwise

from turns import until

from bench.protocol import Abandon, Begin, Capture, Readings, Watch

SETTINGS = """
[indicator]
port = "{indicator}"
[travel]
port = "{travel}"
"""


async def more(bench, blocks: int) -> None:
    """Wait until the indicator has sent so many more blocks."""
    health = bench.service.station.wired.all[0].health
    end = health.blocks + blocks
    await until(lambda: health.blocks >= end)


async def test_rounds_at_rest_and_none_in_a_check(first_bench, monkeypatch) -> None:
    # the two send a hundred and twenty
    monkeypatch.setattr("bench.daemon.service.ROUNDS_FROM_RATE_WATCHED", 250.0)
    async with first_bench(SETTINGS) as bench:
        wire = await bench.talk()
        await bench.reads()
        await bench.reads("travel")
        rounds = bench.service.station.wired.sources.rounds
        await until(lambda: rounds.going)
        wire.send(Begin("slot-blade"))
        await until(lambda: bench.service.station.run is not None)
        await until(lambda: not rounds.going)
        await more(bench, 20)  # readings keep coming, and it stays so
        assert not rounds.going
        wire.send(Abandon())
        await until(lambda: rounds.going)
        wire.send(Watch(on=True))  # each of them, as it comes
        await until(lambda: not rounds.going)
        wire.send(Capture("travel"))
        wire.send(Watch(on=False))
        await more(bench, 12)
        assert not rounds.going  # when each byte came is kept
        wire.send(Capture("travel", on=False))
        await until(lambda: rounds.going)


async def test_above_what_is_promised_a_client_that_wants_each_has_them_in_rounds(
    first_bench, monkeypatch
) -> None:
    monkeypatch.setattr("bench.daemon.service.ROUNDS_FROM_RATE_WATCHED", 80.0)
    async with first_bench(SETTINGS) as bench:
        wire = await bench.talk()
        await bench.reads()
        await bench.reads("travel")
        wire.send(Watch(on=True))
        rounds = bench.service.station.wired.sources.rounds
        await until(lambda: rounds.going)
        first = await bench.until(wire, Readings, lambda m: len(m.values) > 1)
        following = await bench.until(wire, Readings, lambda m: m.instrument == first.instrument)
        assert following.first == first.first + len(first.values)


async def test_in_rounds_nothing_is_missing_and_stamps_go_on(first_bench) -> None:
    async with first_bench(SETTINGS) as bench:
        wire = await bench.talk()
        await until(lambda: bench.service.station.wired.sources.rounds.going)
        await bench.until(wire, Readings)
        heard: list[Readings] = []
        while len(heard) < 12:
            said = await bench.until(wire, Readings, lambda m: m.instrument == "indicator")
            heard.append(said)
        assert bench.service.station.wired.sources.rounds.going
        assert all(b.first == a.first + len(a.values) for a, b in pairwise(heard))
        at = [stamp for one in heard for stamp in one.at]
        gaps = [b - a for a, b in pairwise(at)]
        assert min(gaps) >= 0.0
        assert max(gaps) < 10.0  # sixty a second; a busy machine may sleep
        assert abs(at[-1] - time.monotonic()) < 10.0
