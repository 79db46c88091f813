"""The move made live: its proof, the way that is left, the pull of the screw; alone, and through a real daemon on the
pretend saw, whose fence is turned about its pivot by its own geometry."""

from __future__ import annotations

import asyncio

import pytest

from bench.daemon.live import LiveMove
from bench.demo import Operator, connect, virtual_bench
from bench.demo_daemon import end_daemon, start_daemon
from bench.finding import Finding, Move, Quantity
from bench.gear import Jig
from bench.wire import Begin, Error, Live, LiveSaid, Press

JIG = Jig("big-sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, pivot_to_stop=480.0)
OUT = 0.0003  # rad: the left end must go 0.144 mm away, 480 mm from the pivot


def finding(rotation: float = OUT) -> Finding:
    fence = Quantity(
        "fence", rotation, "rad", 0.00002, 5.0, JIG.tolerance, "outside", "left end too near you"
    )
    move = Move("left", "away" if rotation > 0 else "toward", abs(rotation) * 480.0, 0.01, [], 0.0, "")
    return Finding(
        id="f", check="fence-square", quantities=[fence], verdict="outside", jig="big-sled", move=move
    )


def made(drew_last: float = 0.0, **request) -> LiveMove:
    return LiveMove(Live(**request), finding(), JIG, 0.001, "mm", drew_last)


def stand_at(live: LiveMove, value: float) -> None:
    live.readings([value] * 12)


def test_setting_it_up_is_no_wander() -> None:
    live = made()
    for value in (0.0, 4.0, 1.0, 2.5):  # the stand is carried there, the plunger pressed
        stand_at(live, value)
    assert (live.said().phase, live.said().enter) == ("stand", True)
    live.press()
    assert live.phase == "lean"
    stand_at(live, 2.501)
    live.press()
    assert live.phase == "go"
    assert live.said().to_go == pytest.approx(0.144, abs=0.002)
    assert live.said().way == "away"


def test_a_stand_on_the_table_is_seen_and_asked_for_again() -> None:
    live = made()
    stand_at(live, 2.5)
    live.press()
    stand_at(live, 2.58)  # the sled is leaned, the stand is not on it
    live.press()
    said = live.said()
    assert said.phase == "stand"
    assert "does not stand on the sled" in said.words
    stand_at(live, 1.0)
    live.press()
    stand_at(live, 1.0)
    live.press()
    assert live.phase == "go"


@pytest.mark.parametrize("from_pivot", [480.0, 240.0])
def test_what_the_screw_drew_is_aimed_past(from_pivot: float) -> None:
    """Drawn 0.03 back at the stop; half of that where the tip stands half way."""
    live = made(drew_last=-0.03, from_pivot=from_pivot)
    share = from_pivot / 480.0
    stand_at(live, 2.5)
    live.press()
    stand_at(live, 2.5)
    live.press()
    assert live.said().to_go == pytest.approx(0.174, abs=1e-9)
    stand_at(live, 2.5 + 0.174 * share)
    assert live.said().to_go == pytest.approx(0.0, abs=1e-9)
    live.press()
    stand_at(live, 2.5 + 0.144 * share)
    live.press()
    assert live.phase == "end"
    assert live.drew == pytest.approx(-0.03, abs=1e-9)
    assert live.gone == pytest.approx(0.144, abs=1e-9)
    assert live.said().verdict == "inside"


def test_slackened_again_it_aims_past_what_was_drawn() -> None:
    live = made()
    stand_at(live, 2.5)
    live.press()
    live.press()
    assert not live.back()
    stand_at(live, 2.644)
    live.press()
    stand_at(live, 2.544)  # drawn 0.1 back: still out
    assert "undo" in live.said().words
    assert live.back()
    assert live.said().to_go == pytest.approx(0.2, abs=1e-9)
    assert "the screw draws it so much toward" in live.said().words


class Made:
    """One live move on the pretend saw, as hands would do it; `drawn`: mm that its screw draws back."""

    def __init__(self, wire, hands) -> None:
        self.wire, self.hands = wire, hands
        self.heard: list[LiveSaid] = []

    async def until(self, phase: str) -> LiveSaid:
        async with asyncio.timeout(15):
            while True:
                message = await self.wire.inbox.get()
                assert not isinstance(message, Error), message
                if isinstance(message, LiveSaid):
                    self.heard.append(message)
                    if message.phase == phase:
                        return message

    async def make(self, way: str, drawn: float) -> LiveSaid:
        self.wire.send(Live())
        await self.until("stand")
        await self.hands.put("free-end")
        await asyncio.sleep(0.3)
        self.wire.send(Press())
        await self.until("lean")
        for lean in ("left", "right", None):
            await self.hands.lean(lean)
        await asyncio.sleep(0.2)
        self.wire.send(Press())
        said = await self.until("go")
        while said.to_go > 0.002:
            await self.hands.turn_fence(said.end, said.way, said.to_go, seconds=0.2)
            await asyncio.sleep(0.6)  # ten readings make the number that is believed
            while not self.wire.inbox.empty():
                message = self.wire.inbox.get_nowait()
                said = message if isinstance(message, LiveSaid) and message.phase == "go" else said
        self.wire.send(Press())
        await self.until("tighten")
        self.hands.saw.shift_free_end(-drawn if way == "away" else drawn)
        await asyncio.sleep(0.6)
        self.wire.send(Press())
        return await self.until("end")


@pytest.mark.ci
async def test_from_out_to_good_enough_with_a_screw_that_draws(tmp_path) -> None:
    """The first live move is drawn back by the screw; the next, in another life of the daemon, aims past it."""
    quiet: list[str] = []
    async with virtual_bench(3, folder=tmp_path) as (saw, hands, _, folder, daemon):
        wire = await connect(folder)
        first = await Operator(wire, hands, quiet.append).take(Begin("fence-square", sweeps=2))
        assert first.verdict == "outside", first.quantities[0]
        assert first.move is not None
        move = Made(wire, hands)
        drawn = 0.11  # more than the tolerance at the stop
        end = await move.make(first.move.way, drawn)
        assert abs(end.drawn) == pytest.approx(drawn, abs=0.005)
        wire.send(Live())  # made is made: the passes say what is left
        refused = await asyncio.wait_for(_error(wire), 5)
        assert "verifying passes" in refused.text
        await wire.close()
        daemon.kill()
        await daemon.wait()
        next_life = await start_daemon(folder)
        try:
            wire = await connect(folder)
            options = {"placements": "handle-left"}
            again = Begin("fence-square", sweeps=2, options=options, verifies=first.id)
            second = await Operator(wire, hands, quiet.append).take(again)
            assert second.move is not None, second
            assert second.move.way == first.move.way
            move = Made(wire, hands)
            end = await move.make(first.move.way, drawn)
            assert any("It aims" in said.words for said in move.heard)
            assert abs(saw.truth()["rotation"]) <= first.quantities[0].tolerance
            await wire.close()
        finally:
            await end_daemon(next_life)


async def _error(wire) -> Error:
    while True:
        message = await wire.inbox.get()
        if isinstance(message, Error):
            return message
