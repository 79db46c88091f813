"""A daemon that is slow ends no demonstration: it is waited for, in plain words, and asked how things stand."""

from __future__ import annotations

import asyncio
import sys

import pytest

from bench.demo import daemon_process, operator
from bench.demo.daemon_process import DemoError, start_daemon
from bench.demo.operator import Operator
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol import (
    Begin,
    FindingNotice,
    GetStatus,
    NoFinding,
    Press,
    PromptChanged,
    RunState,
    StatusReply,
)
from hw.virtual.hands import Hands
from hw.virtual.saw import VirtualSaw

ASKED = [
    Prompt(phase="cautions", words="Read.", enter=True, cautions=["Unplug the saw."]),
    Prompt(
        phase="place", words="Set up.", enter=True, placement="handle-left", step=1, steps=1, mount="standing"
    ),
    Prompt(phase="spot", words="Read the spot.", enter=True, placement="handle-left", gather="spot"),
]
FOUND = Finding(check="fence-square", quantities=[])
SLOW = 3  # times that it is said before the daemon goes on


class Slow:
    """A wire to a daemon that answers what is pressed only once somebody has waited for it `SLOW` times.

    deaf: presses that it does not take first, as they came before it asked for them."""

    def __init__(self, deaf: int = 0) -> None:
        self.inbox: asyncio.Queue = asyncio.Queue()
        self.left, self.deaf = [*ASKED], deaf
        self.now: Prompt | None = None
        self.owed, self.said = False, []

    def send(self, message) -> None:
        if isinstance(message, GetStatus) and self.now is not None and not self.owed:
            run = RunState("r", "fence-square", None, None, self.now)
            self.inbox.put_nowait(StatusReply("slow", "", "recording", [], run, []))
        if isinstance(message, Press) and self.deaf:
            self.deaf -= 1
        elif isinstance(message, Begin | Press):
            self.owed = True

    def say(self, words: str) -> None:
        self.said.append(words)
        if "Still waiting" in words and self.owed and len(self.waits()) % SLOW == 0:
            self.owed = False
            self.now = self.left.pop(0) if self.left else None
            asking = PromptChanged("r", "fence-square", None, self.now)
            self.inbox.put_nowait(asking if self.now else FindingNotice("r", FOUND))

    def waits(self) -> list[str]:
        return [words.strip() for words in self.said if "Still waiting" in words]


@pytest.fixture(autouse=True)
def impatient(monkeypatch) -> None:
    for module in (operator, daemon_process):
        monkeypatch.setattr(module, "DEMO_TELL_S", 0.01)


@pytest.mark.parametrize("deaf", [0, 2])
async def test_a_slow_daemon_is_waited_for_and_what_is_waited_for_is_said(deaf) -> None:
    wire = Slow(deaf)
    operator = Operator(wire, Hands(VirtualSaw.draw(1), pace=0.0), wire.say)  # type: ignore[arg-type]
    assert await operator.take(Begin("fence-square")) == FOUND
    assert len(wire.waits()) >= SLOW * (len(ASKED) + 1)
    assert set(wire.waits()) == {
        "Still waiting for what is asked.",
        "Still waiting for the first set-up.",
        "Still waiting for Enter to be taken.",
    }


async def test_what_the_daemon_cannot_do_ends_it_all_the_same() -> None:
    wire = Slow()
    operator = Operator(wire, Hands(VirtualSaw.draw(1), pace=0.0), wire.say)  # type: ignore[arg-type]
    wire.inbox.put_nowait(NoFinding("r", "Two set-ups are needed."))
    with pytest.raises(DemoError, match="Two set-ups are needed"):
        await operator.take(Begin("fence-square"))
    wire.inbox.put_nowait(None)
    with pytest.raises(DemoError, match="the daemon went away"):
        await Operator(wire, operator.hands, wire.say).take(Begin("fence-square"))  # type: ignore[arg-type]


async def test_a_daemon_slow_to_come_up_is_waited_for(tmp_path, monkeypatch) -> None:
    """It opens its socket once it was waited for; one that ends before is told of, with what it said last."""
    program = (
        "import pathlib, socket, sys\n"
        "while not pathlib.Path(sys.argv[1], 'waited').exists(): pass\n"
        "s = socket.socket(socket.AF_UNIX); s.bind(sys.argv[1] + '/socket'); s.listen(); s.accept()[0].recv(1)\n"
    )
    real = asyncio.create_subprocess_exec

    def instead(*_: object, **more) -> object:
        more.pop("stdin")
        return real(sys.executable, "-c", program, str(tmp_path), **more)

    monkeypatch.setattr(asyncio, "create_subprocess_exec", instead)
    process = await start_daemon(tmp_path, lambda words: (tmp_path / "waited").touch())
    assert await process.wait() == 0
    program = "import sys; sys.exit('no room')"
    with pytest.raises(DemoError, match="did not start: no room"):
        (tmp_path / "socket").unlink()
        await start_daemon(tmp_path)
