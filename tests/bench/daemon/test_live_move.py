"""The move made live: its proof, the way that is left, the pull of the screw; alone, and through a real daemon on the
pretend saw, whose fence is turned about its pivot by its own geometry."""

from __future__ import annotations

import asyncio
import random
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from bench.daemon.live_move_controller import LiveMoveController
from bench.demo.daemon_process import end_daemon, start_daemon
from bench.demo.operator import Operator, connect, virtual_bench
from bench.finding import Finding, Move, Quantity, Settle
from bench.gear import Jig
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.live_move import LiveMove
from bench.protocol import Begin, Error, LiveMoveNotice, LiveMoveRequest, Press
from bench.render.notices import with_words

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


class Sled:
    """A live move and the number it hears, 20 readings a second of a clock of its own."""

    def __init__(
        self, drew_last: float | None = None, *, rotation: float = OUT, jig: Jig = JIG, **request
    ) -> None:
        self.live = LiveMove(LiveMoveRequest(**request), finding(rotation), jig, 0.001, drew_last)
        self.t, self.at = 0.0, 2.5

    def said(self) -> LiveMoveNotice:
        return with_words(self.live.notice(), "mm")

    def hear(self, *values: float) -> LiveMoveNotice:
        """One reading after the other, each in a block of its own."""
        for value in values:
            self.t += 0.05
            self.live.readings([self.t], [value])
        self.at = values[-1]
        return self.said()

    def hold(self, value: float, seconds: float = 1.0) -> LiveMoveNotice:
        return self.hear(*[value] * round(20 * seconds))

    def go(self, to: float, seconds: float = 1.0) -> LiveMoveNotice:
        """As a hand does it: gradually."""
        first, steps = self.at, round(20 * seconds)
        return self.hear(*(first + (to - first) * n / steps for n in range(1, steps + 1)))

    def begun(self) -> Sled:
        """Set up, leaned, 2.5 mm on the indicator."""
        self.hold(2.5)
        self.live.press()
        self.hold(2.5)
        self.live.press()
        assert self.live.phase == "go", self.said().words
        return self


def test_setting_it_up_is_no_wander() -> None:
    sled = Sled()
    for value in (0.0, 4.0, 1.0, 2.5):  # the stand is carried there, the plunger pressed
        said = sled.hold(value)
    assert (said.phase, said.enter) == ("stand", True)
    sled.live.press()
    assert sled.live.phase == "lean"
    sled.hold(2.501)
    sled.live.press()
    said = sled.said()
    assert said.to_go == pytest.approx(0.144, abs=0.002)
    assert (said.phase, said.way) == ("go", "away")


def test_a_stand_on_the_table_is_seen_and_asked_for_again() -> None:
    sled = Sled()
    sled.hold(2.5)
    sled.live.press()
    sled.hold(2.58)  # the sled is leaned, the stand is not on it
    sled.live.press()
    said = sled.said()
    assert said.phase == "stand"
    assert "does not stand on the sled" in said.words
    for _ in range(2):
        sled.hold(1.0)
        sled.live.press()
    assert sled.live.phase == "go"


def test_nothing_moved_is_not_there() -> None:
    """An indicator that is frozen, or whose tip hangs free, shows just this."""
    sled = Sled().begun()
    for _ in range(60):
        said = sled.hold(2.5)
        assert not (said.there or said.enter or said.wrong), said
        sled.live.press()
        said = sled.said()
        assert said.phase == "go"
        assert said.words.startswith("The number has not moved.")
    sled.go(2.53)
    said = sled.hold(2.53)
    assert "0.11 mm to go: move the left end away from you." in said.words


def test_the_wrong_way_is_called_as_soon_as_it_is_more_than_the_noise() -> None:
    sled = Sled().begun()
    said = sled.hear(2.499, 2.498, 2.498, 2.498, 2.498, 2.498)
    assert not said.wrong  # two counts
    said = sled.hear(2.497, 2.497, 2.497, 2.497, 2.497)
    assert said.wrong
    assert said.words.startswith("Wrong way: move the left end away from you. 0.15 mm to go.")
    said = sled.hold(2.45, 3.0)  # as long as it stands there
    assert said.wrong and not said.enter
    assert not sled.go(2.46).wrong  # turned round
    assert sled.go(2.44).wrong  # and once more
    sled.go(2.6)
    assert not sled.hold(2.6).wrong
    said = sled.go(2.56)  # most of the way is made: the indicator stands on the right side
    assert said.wrong and said.words.startswith("It went back: move the left end away from you.")
    assert "the other side" not in said.words
    assert sled.go(2.644).there or sled.hold(2.644).there


def test_one_reading_that_is_off_is_no_way() -> None:
    sled = Sled().begun()
    assert not any(sled.hear(value).wrong for value in (2.5, 2.4, 2.5, 2.5, 2.5, 2.5, 2.5))


def test_there_is_where_it_moved_to_and_holds() -> None:
    sled = Sled().begun()
    said = sled.go(2.644, 0.5)
    assert not said.there  # it has just come
    assert sled.hold(2.644).there
    assert sled.said().words == "There, and it holds. Press Enter, then tighten."
    sled.go(2.60, 0.3)
    assert not sled.said().there


def test_through_the_aim_and_back() -> None:
    sled = Sled().begun()
    heard = [sled.go(2.5 + 0.01 * n, 0.1) for n in range(1, 25)]  # 0.096 mm past it
    assert not any(said.there for said in heard)
    said = sled.hold(2.74)
    assert said.past and said.words == "Too far by 0.10 mm: move it back toward you."
    assert said.verdict == "outside"
    sled.go(2.70)
    assert not sled.said().there
    sled.go(2.644)
    assert sled.hold(2.644).there
    sled.live.press()
    assert sled.live.phase == "tighten"


def test_a_blow_in_the_middle_is_told_and_nothing_is_good_by_it() -> None:
    sled = Sled(drew_last=0.0).begun()
    assert sled.hold(2.5).verdict == "outside"
    said = sled.hold(2.644)  # at once: the fence was struck, or the stand was
    assert "The number jumped by 0.14 mm. If the stand was bumped, end live and check again." in said.words
    assert said.verdict == "cannot-tell"
    sled.live.press()
    sled.hold(2.644)
    sled.live.press()
    assert sled.said().verdict == "cannot-tell"


def test_unplugged_in_the_middle() -> None:
    sled = Sled(drew_last=0.0).begun()
    sled.go(2.644)
    assert sled.hold(2.644).there
    sled.live.lose()
    said = sled.said()
    assert said.to_go is None and not (said.there or said.enter)
    assert said.words == "The indicator gives no reading. How far is left is not known."
    sled.live.press()
    assert sled.live.phase == "go"
    sled.t += 60.0
    said = sled.hold(2.644)  # where it was
    assert said.there and said.verdict == "inside"
    sled.live.lose()
    sled.t += 60.0
    said = sled.hold(0.0)  # it counts from where it was switched on
    assert said.verdict != "inside" and "The number jumped" in said.words


def test_a_move_that_is_less_than_the_noise_cannot_be_followed() -> None:
    sled = Sled(rotation=0.000006)  # 0.003 mm
    rng = random.Random(1)
    for _ in range(2):
        sled.hear(*(2.5 + rng.gauss(0, 0.002) for _ in range(100)))
        sled.live.press()
    said = sled.said()
    assert said.phase == "lean"
    assert "The number trembles by as much" in said.words


@pytest.mark.parametrize("from_pivot", [480.0, 240.0])
def test_what_the_screw_drew_is_aimed_past(from_pivot: float) -> None:
    """Drawn 0.03 back at the stop; half of that where the tip stands half way."""
    sled = Sled(drew_last=-0.03, from_pivot=from_pivot).begun()
    share = from_pivot / 480.0
    assert sled.said().to_go == pytest.approx(0.174, abs=1e-9)
    sled.go(2.5 + 0.174 * share)
    said = sled.hold(2.5 + 0.174 * share)
    assert said.to_go == pytest.approx(0.0, abs=1e-9)
    assert (said.there, said.verdict) == (True, "inside")
    sled.live.press()
    sled.go(2.5 + 0.144 * share)
    sled.hold(2.5 + 0.144 * share)
    sled.live.press()
    live = sled.live
    assert live.phase == "end"
    assert live.drew == pytest.approx(-0.03, abs=1e-9)
    assert live.moved == pytest.approx(0.144, abs=1e-9)
    assert live.notice().verdict == "inside"


@pytest.mark.parametrize(("drew", "said_inside"), [(-0.11, False), (-0.03, True), (None, False)])
def test_good_enough_is_as_it_will_be_once_tight(drew: float | None, said_inside: bool) -> None:
    """At the target itself: the tolerance there is 0.08 mm. What is not known of the screw makes nothing good."""
    sled = Sled(drew_last=drew).begun()
    sled.go(2.644)
    said = sled.hold(2.644)
    assert (said.verdict == "inside") is said_inside
    assert said.enter is (drew != -0.11)


def test_slackened_again_it_aims_past_what_was_drawn() -> None:
    sled = Sled().begun()
    assert not sled.live.slacken()
    sled.go(2.644)
    sled.hold(2.644)
    sled.live.press()
    said = sled.hold(2.544)  # drawn 0.1 back: still out
    assert (
        "Tightening has drawn it 0.10 mm toward you. 0.10 mm short: it must go further away from you."
        in said.words
    )
    assert "undo" in said.words
    assert sled.live.slacken()
    assert sled.said().to_go == pytest.approx(0.2, abs=1e-9)
    assert "Go 0.10 mm past it: tightening draws it back toward you." in sled.said().words


def test_what_it_is_known_to_draw_is_taken_off_before_it_is_drawn() -> None:
    """More than the tolerance: while it bites it is not called too far."""
    sled = Sled(drew_last=-0.11).begun()
    sled.go(2.754)
    assert sled.hold(2.754).there
    sled.live.press()
    said = sled.hold(2.754)
    assert (said.words, said.verdict) == ("Tighten. Press Enter when it is tight.", "inside")
    said = sled.go(2.72)
    assert not said.past and said.verdict == "inside"
    sled.hold(2.72)  # it draws no more this time
    sled.live.press()
    assert sled.said().verdict == "cannot-tell"  # 0.076 mm past, 0.08 is good enough


def test_where_the_screw_draws_it_all_the_way_nothing_is_to_be_moved() -> None:
    sled = Sled(drew_last=0.144).begun()
    said = sled.hold(2.5)
    assert said.words.startswith("Do not move it: tightening alone brings it there.")
    assert not said.there and said.enter
    sled.live.press()
    sled.go(2.644)
    sled.hold(2.644)
    sled.live.press()
    assert sled.said().verdict == "inside"


def test_tight_is_taken_once_it_holds() -> None:
    sled = Sled().begun()
    sled.go(2.644)
    sled.hold(2.644)
    sled.live.press()
    sled.go(2.60, 0.5)
    sled.live.press()
    assert sled.said().words == "The number still moves. Let it hold, then press Enter."
    sled.hold(2.60)
    sled.live.press()
    assert sled.live.phase == "end"
    assert sled.live.drew == pytest.approx(-0.044, abs=1e-6)


def shared_state(tell) -> Any:
    """What a live move needs of the daemon, without a log."""
    gear = SimpleNamespace(jigs={"big-sled": JIG})
    settings = SimpleNamespace(gear=gear, units="mm", wired={"indicator": None})
    return SimpleNamespace(settings=settings, outbox=SimpleNamespace(tell=tell))


def test_too_close_to_call_is_not_made_live() -> None:
    told: list[object] = []
    host = LiveMoveController(shared_state(told.append))
    close = msgspec.structs.replace(
        finding(), verdict="cannot-tell", settle=Settle("between sweeps", sweeps=10)
    )
    with pytest.raises(InvalidRequest, match=r"proposes no move\. 10 passes in all would settle it"):
        host.start(LiveMoveRequest(), close)
    assert host.move is None and not told


def test_a_mitre_fence_is_not_moved_live() -> None:
    host = LiveMoveController(shared_state(lambda said: None))
    one = finding()
    assert one.move is not None
    mitre = msgspec.structs.replace(one, move=msgspec.structs.replace(one.move, fence="left"))
    with pytest.raises(InvalidRequest, match="a mitre fence is moved with leaves or a shim"):
        host.start(LiveMoveRequest(), mitre)


class Made:
    """One live move on the pretend saw, as hands would do it; `drawn`: mm that its screw draws back."""

    def __init__(self, wire, hands) -> None:
        self.wire, self.hands = wire, hands
        self.heard: list[LiveMoveNotice] = []

    async def until(self, met: Callable[[LiveMoveNotice], bool]) -> LiveMoveNotice:
        async with asyncio.timeout(60):
            while True:
                message = await self.wire.inbox.get()
                assert not isinstance(message, Error), message
                if isinstance(message, LiveMoveNotice):
                    self.heard.append(message)
                    if met(message):
                        return message

    async def press(self, phase: str) -> LiveMoveNotice:
        self.wire.send(Press())
        return await self.until(lambda said: said.phase == phase)

    async def make(self, way: str, drawn: float) -> LiveMoveNotice:
        self.wire.send(LiveMoveRequest())
        await self.until(lambda said: said.phase == "stand")
        await self.hands.put("free-end")
        await asyncio.sleep(0.3)
        await self.press("lean")
        for lean in ("left", "right", None):
            await self.hands.lean(lean)
        await asyncio.sleep(0.2)
        said = await self.press("go")
        assert not (said.there or said.enter or said.wrong)
        await self.hands.turn_fence(said.end, "toward" if way == "away" else "away", 0.05)
        said = await self.until(lambda said: said.wrong and not said.past)
        assert said.words.startswith(f"Wrong way: move the {said.end} end {said.way} ")
        assert said.way == way
        held = said.to_go
        while not said.there:
            await self.hands.turn_fence(said.end, said.way, said.to_go)
            late = time.monotonic() + 1.5  # or it stands still somewhere else, and is turned again
            said = await self.until(lambda said, late=late: said.there or time.monotonic() > late)
        assert held > 0.05 and not said.wrong
        await self.press("tighten")
        for _ in range(10):
            self.hands.saw.shift_free_end((-drawn if way == "away" else drawn) / 10)
            await asyncio.sleep(0.03)
        await self.until(lambda said: said.enter and abs(abs(said.drawn) - drawn) < 0.005)
        return await self.press("end")


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
        drawn = 0.2  # far more than the tolerance at the stop
        end = await move.make(first.move.way, drawn)
        assert abs(end.drawn) == pytest.approx(drawn, abs=0.005)
        assert end.verdict == "outside"
        wire.send(LiveMoveRequest())  # made is made: the passes say what is left
        refused = await asyncio.wait_for(_error(wire), 60)
        assert "verifying passes" in refused.text
        wire.close()
        daemon.kill()
        await daemon.wait()
        next_life = await start_daemon(folder)
        try:
            wire = await connect(folder)
            options = {"placements": "handle-left"}
            again = Begin("fence-square", sweeps=4, options=options, verifies=first.id)
            second = await Operator(wire, hands, quiet.append).take(again)
            assert second.move is not None, second
            assert second.move.way == first.move.way
            move = Made(wire, hands)
            end = await move.make(first.move.way, drawn)
            assert any("past it" in said.words for said in move.heard)
            assert end.verdict == "inside"
            assert abs(saw.truth()["rotation"]) <= first.quantities[0].tolerance
            wire.close()
        finally:
            await end_daemon(next_life)


async def _error(wire) -> Error:
    while True:
        message = await wire.inbox.get()
        if isinstance(message, Error):
            return message
