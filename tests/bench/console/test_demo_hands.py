"""The hands of the demonstration, without a daemon: what they do at a word of it, and what they teach."""

from __future__ import annotations

import asyncio

import msgspec
import pytest
from console_job import bench, screen, shows, wait
from turns import until

from bench.console.drawings.styled_text import wrap
from bench.demo.hand_actions import push
from bench.demo.hands_client import DRAWN, HandsClient
from bench.demo.screen import LESSONS
from bench.procedure.prompt import Prompt
from bench.protocol import (
    Begin,
    Error,
    FindingNotice,
    GetStatus,
    LiveMoveNotice,
    LiveMoveRequest,
    Press,
    PromptChanged,
    SavedNotice,
)
from hw.virtual.hands import Hands
from hw.virtual.saw import VirtualSaw


class Deaf:
    """A client on which a test speaks; keeps what was asked over it."""

    def __init__(self) -> None:
        self.inbox: asyncio.Queue = asyncio.Queue()
        self.asked: list = []
        self.closed = False

    def send(self, message) -> None:
        self.asked.append(message)

    def close(self) -> None:
        self.closed = True


@pytest.mark.parametrize("step", LESSONS)
def test_a_lesson_fits_a_phone_held_upright(step) -> None:
    assert len(wrap(LESSONS[step], 38)) <= 2


def test_the_first_lesson_holds_for_a_saw_that_is_square() -> None:
    saws = (VirtualSaw.draw(seed) for seed in range(1, 100))
    limit = 0.05 / 300
    assert any(abs(saw.fence_angle - saw.slot_angle) < limit for saw in saws)
    assert "out of square" not in LESSONS["new"]


def live(phase: str, way: str, to_go: float) -> LiveMoveNotice:
    return LiveMoveNotice(True, phase, f"{phase} {to_go}", True, None, way, to_go, target=0.3)


@pytest.mark.ci
@pytest.mark.parametrize(("first", "sign"), [("away", -1), ("toward", 1)])
async def test_the_last_screw_draws_the_fence_back_against_the_move(first, sign) -> None:
    """Whichever way the number happened to say last, a hair before or past its aim."""
    saw = VirtualSaw.draw(1)
    wire = Deaf()
    hands_client = HandsClient(wire, Hands(saw, pace=0.01))  # type: ignore[arg-type]
    other = "toward" if first == "away" else "away"
    for said in (live("go", first, 0.3), live("go", other, 0.0005), live("tighten", other, 0.0005)):
        await wire.inbox.put(said)
    await until(lambda: hands_client.hand_word() == "tighten" and wire.inbox.empty())
    before = saw.fence_angle
    hands_client.hand()
    await until(lambda: not hands_client.busy)
    end = 1 if saw.free_end == "right" else -1
    gone = (saw.fence_angle - before) * end * saw.pivot_to_stop
    assert gone == pytest.approx(sign * DRAWN, rel=0.01)
    assert not any(isinstance(asked, Press) for asked in wire.asked)  # Enter is the user's
    await hands_client.close()
    assert wire.closed


async def test_a_push_begins_at_the_start_also_where_the_first_pass_was_taken_back(monkeypatch) -> None:
    monkeypatch.setattr("bench.demo.hand_actions.SPEED", 4000.0)
    saw = VirtualSaw.draw(1)
    hands = Hands(saw, pace=0.01)
    ask = Prompt(phase="sweep", words="push", placement="handle-left", ready=True)
    await hands.put("handle-left")
    for _ in range(2):  # nothing is kept: what was pushed was taken back
        await push(hands, ask)
        assert hands.pose(hands.clock()).s == pytest.approx(saw.run, abs=2.0)


async def test_the_operator_taps_before_each_enter_and_hands_tap_at_a_word() -> None:
    wire = Deaf()
    hands_client = HandsClient(wire, Hands(VirtualSaw.draw(1), pace=0.01))  # type: ignore[arg-type]
    rest = Prompt(phase="tap", words="rest", placement="handle-left")
    asked = Prompt(phase="tap", words="tap", placement="handle-left", enter=True)

    async def hear(ask: Prompt) -> None:
        await wire.inbox.put(PromptChanged("r", "fence-square", None, ask))
        await until(wire.inbox.empty)

    await hear(rest)
    assert not hands_client.can_hand()
    await hear(asked)
    assert hands_client.can_hand() and hands_client.hand_word() == "tap" and not hands_client.tapped
    hands_client.hand()
    await until(lambda: hands_client.tapped and not hands_client.busy)
    assert not any(isinstance(one, Press) for one in wire.asked)  # Enter is the user's
    await hear(rest)  # it did not come back
    assert not hands_client.tapped
    hands_client.turn_operator()
    await hear(asked)
    await until(lambda: any(isinstance(one, Press) for one in wire.asked))
    await until(lambda: not hands_client.busy)
    assert hands_client.tapped and sum(isinstance(one, Press) for one in wire.asked) == 1  # and no more
    await hands_client.close()


async def test_the_operator_does_the_whole_job_from_the_first_screen_on(scenes, monkeypatch) -> None:
    """Begins the check, makes its move live, proves it, and leaves it at that."""
    monkeypatch.setattr("bench.demo.hands_client.READ", 0.0)
    wire = Deaf()
    hands_client = HandsClient(wire, Hands(VirtualSaw.draw(1), pace=0.01))  # type: ignore[arg-type]

    async def asked(number: int) -> list:
        await until(lambda: len(wire.asked) >= number)
        return wire.asked[1:]  # behind what the hands ask for themselves

    await until(lambda: wire.asked == [GetStatus()])
    hands_client.turn_operator()
    assert await asked(2) == [Begin("fence-square", lean=True)]
    out = scenes.finding()
    await wire.inbox.put(FindingNotice("r", out))
    assert (await asked(3))[-1] == LiveMoveRequest(finding=out.id)
    await wire.inbox.put(SavedNotice("move", out.id))
    await wire.inbox.put(LiveMoveNotice(False, "end", "The move is noted."))
    assert (await asked(4))[-1] == Begin("fence-square", jig=out.jig, lean=True, verifies=out.id)
    await wire.inbox.put(FindingNotice("r", scenes.finding("inside", name="f2")))
    await until(lambda: not hands_client.operator)
    assert len(wire.asked) == 4
    hands_client.turn_operator()  # once more: the job is begun anew
    assert (await asked(5))[-1] == Begin("fence-square", lean=True)
    await wire.inbox.put(Error("wrong-use", "no sled is described"))
    await until(lambda: not hands_client.operator)
    assert "no sled is described" in hands_client.trouble
    await hands_client.close()


async def test_the_operator_presses_once_however_late_the_daemon_answers() -> None:
    """A second Enter would say that the last screw is tight before anybody has turned it."""
    wire = Deaf()
    hands_client = HandsClient(wire, Hands(VirtualSaw.draw(1), pace=0.01))  # type: ignore[arg-type]
    hands_client.operator = True
    await wire.inbox.put(live("go", "away", 0.3))
    await until(lambda: hands_client.live is not None and hands_client.busy)
    for far in (0.0005, 0.0006, 0.0004):
        await wire.inbox.put(msgspec.structs.replace(live("go", "away", far), there=True))
        await until(lambda far=far: hands_client.live.to_go == far and not hands_client.busy)
        await asyncio.sleep(0)
    assert [one for one in wire.asked if isinstance(one, Press)] == [Press(waits=False)]
    await hands_client.close()


@pytest.mark.slow  # the virtual hands take their time
async def test_one_key_on_the_first_screen_does_it_all(tmp_path) -> None:
    async with (
        bench(tmp_path) as (saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await shows(app, "nothing measured yet", "o does it for you")
        await job.press("o")
        await wait(lambda: app.view.result is not None, 90.0)
        await wait(lambda: not hands_client.operator, 180.0)
        await shows(app, "GOOD ENOUGH", "That is the job.")
        assert abs(saw.truth()["rotation"]) <= app.view.finding.quantities[0].tolerance
