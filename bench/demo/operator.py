"""The operator of the virtual bench: takes one check to its finding, or the whole job.

The whole job is a check, its move with the leaves that were named, and the check that
verifies it. Here the virtual saw and a real daemon on its pseudo-terminals meet.
"""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, NamedTuple

from bench.checks.options import OptionValue
from bench.demo.daemon_process import (
    DemoError,
    Say,
    end_daemon,
    start_daemon,
    write_settings,
)
from bench.demo.hands_client import HandsClient
from bench.demo.truth import (
    BOARD_MM,
    JOB,
    Truth,
    outside_uncertainty,
    truth_of,
    truth_words,
)
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol import (
    Begin,
    Done,
    Error,
    Extend,
    FindingNotice,
    GetStatus,
    MarkNotice,
    Message,
    NoFinding,
    NoteMove,
    Notice,
    PassNotice,
    PromptChanged,
)
from bench.protocol.async_client import AsyncClient
from bench.render.template import WAYS
from hw.timeouts import DEMO_TELL_S
from hw.virtual.hands import Hands
from hw.virtual.ptys import VirtualPorts
from hw.virtual.saw import VirtualSaw

READING_RATE = 120.0  # readings a second
# pushes more in a set-up that the hands take to settle what is too close: all must be
# over in 45 s
MOST_EXTENSION = 1
# by phase, what is waited for; what else is asked is answered by Enter
WAITED_FOR = {
    "cautions": "the first set-up",
    "sweep": "the pass to be kept",
    "working-out": "the result",
    "done": "the result",
}


class Operator:
    """Lets hands do what the daemon asks for until a finding comes, and says what is
    done."""

    def __init__(self, client: AsyncClient, hands: Hands, say: Say) -> None:
        self.client = client
        self.hands = hands
        self.say = say
        self.ask: Prompt | None = None
        self._found: list[Finding] = []
        self._last: Message | None = None  # that ends what is waited for
        self._trouble = ""
        self._fresh = asyncio.Event()  # something was heard since the last look
        self._warned = False  # the cautions were told
        self._placed: object = None  # the set-up that was told
        self._step = 0  # the one that was told

    async def take(self, begin: Begin | Extend) -> Finding:
        """Take one check, or the rest of one, to its finding. Raises DemoError."""
        await self._until(begin, FindingNotice)
        return self._found.pop()

    async def note(self, moved: NoteMove) -> None:
        """Have the move noted. Raises DemoError."""
        await self._until(moved, Done)

    async def _until(self, request: Begin | Extend | NoteMove, end: type) -> None:
        """Until a message of that kind has come."""
        self.ask = self._placed = self._last = None
        following = HandsClient(
            self.client, self.hands, operator=True, begins=False, heard=self._hear
        )
        self.client.send(request)
        try:
            while not isinstance(self._last, end):
                self._fresh.clear()
                if trouble := self._trouble or following.trouble:
                    raise DemoError(trouble)
                if following.gone:
                    raise DemoError("the daemon went away")
                await self._wait(following)
        finally:
            await following.stop()

    async def _wait(self, following: HandsClient) -> None:
        """However long the daemon takes while it lives; what is waited for is said, and
        how things stand is asked."""
        try:
            await asyncio.wait_for(self._fresh.wait(), DEMO_TELL_S)
        except TimeoutError:
            if not following.busy:
                self.say(f"  Still waiting for {_waited_for(self.ask)}.")
                self.client.send(GetStatus())

    def _hear(self, message: Message | None) -> None:
        self._fresh.set()
        if isinstance(message, FindingNotice | Done):
            self._last = message
        match message:
            case NoFinding():
                self._trouble = message.words
            case Error():
                self._trouble = message.text
            case FindingNotice():
                self._found.append(message.finding)
            case MarkNotice():
                self.say(f"  mark {message.number} of {message.of}: {message.words}")
            case PassNotice() if message.state not in ("kept", "measured", "refused"):
                pass
            case PassNotice() | Notice():
                self.say(f"  {message.words}")
            case PromptChanged():
                self.ask = message.ask
                if message.ask is not None:
                    self._tell(message.ask)

    def _tell(self, ask: Prompt) -> None:
        """The cautions, and each set-up or place, once."""
        if ask.phase == "cautions" and not self._warned:
            self._warned = True
            for caution in ask.cautions:
                self.say(f"! {caution}")
        place = (ask.step, ask.taken, ask.remark) if ask.phase == "place" else None
        further = ask.by_itself and ask.step != self._step
        if further or (place is not None and place != self._placed):
            if ask.remark:
                self.say(f"  {ask.remark}")
            self.say(f"[{ask.step} of {ask.steps}] {ask.words}")
        self._placed, self._step = place, ask.step


def _waited_for(ask: Prompt | None) -> str:
    if ask is None:
        return "what is asked"
    not_ready = ask.phase == "sweep" and not ask.ready
    return "READY" if not_ready else WAITED_FOR.get(ask.phase, "Enter to be taken")


class VirtualBench(NamedTuple):
    """A virtual saw, its hands and ports, and a daemon that reads the ports, with
    settings, log and socket in a folder of its own."""

    saw: VirtualSaw
    hands: Hands
    ports: VirtualPorts
    folder: Path
    daemon: asyncio.subprocess.Process


@contextlib.asynccontextmanager
async def virtual_bench(
    seed: int,
    *,
    marks: bool = False,
    folder: Path | None = None,
    say: Say = lambda words: None,
) -> AsyncIterator[VirtualBench]:
    """folder: a temporary one where none is given."""
    saw = VirtualSaw.draw(seed)
    hands = Hands(saw)
    async with contextlib.AsyncExitStack() as stack:
        if folder is None:
            made = tempfile.TemporaryDirectory(prefix="sweepgauge-demo-")
            folder = Path(stack.enter_context(made))
        ports = VirtualPorts(saw, hands, folder / "ports", READING_RATE, caliper=True)
        await ports.start()
        stack.push_async_callback(ports.stop)
        write_settings(folder / "settings.toml", saw, ports.paths, marks=marks)
        daemon = await start_daemon(folder, say)
        stack.push_async_callback(end_daemon, daemon)
        yield VirtualBench(saw, hands, ports, folder, daemon)


async def connect(folder: Path) -> AsyncClient:
    return await AsyncClient.connect(folder / "socket")


async def headless(
    seed: int, say: Say, *, marks: bool = False, lean: bool = False, tap: bool = False
) -> tuple[dict[str, Any], bool]:
    """One whole check and its move. The answer for `--json`, and whether the fence
    ended inside its tolerance."""
    async with virtual_bench(seed, marks=marks, say=say) as bench:
        operator = Operator(await connect(bench.folder), bench.hands, say)
        finding = await operator.take(Begin(JOB, lean=lean, tap=tap))
        if finding.more_pushes is not None and finding.more_pushes <= MOST_EXTENSION:
            say_finding(finding, say)
            finding = await operator.take(Extend(finding.more_pushes, finding.id))
        truth = truth_of(bench.saw, JOB, {}, finding)
        say_finding(finding, say, truth)
        moved = finding.proposed is not None
        after = await _moved_and_verified(operator, finding) if moved else finding
        operator.client.close()
        now = truth_of(bench.saw, JOB, {}, after)["fence"]
    if moved:
        say(f"In truth now, {truth_words(after, {'fence': now})[0]}.")
    answer = {
        "finding": finding,
        "truth": {"rotation": truth["fence"], "reference_error": truth["square"]},
        "after": after,
        "truth_after": {"rotation": now},
        "seed": seed,
    }
    return answer, abs(now) <= (finding.quantities[0].tolerance or 0.0)


async def one_check(
    seed: int,
    say: Say,
    kind: str,
    *,
    sweeps: int = 3,
    options: dict[str, OptionValue] | None = None,
    marks: bool = False,
    lean: bool = False,
    tap: bool = False,
) -> tuple[dict[str, Any], bool]:
    """One check of any kind. The answer for `--json`, and whether all that the saw
    knows lies within the finding's give or take."""
    begin = Begin(kind, sweeps=sweeps, options=options or {}, lean=lean, tap=tap)
    async with virtual_bench(seed, marks=marks, say=say) as bench:
        operator = Operator(await connect(bench.folder), bench.hands, say)
        finding = await operator.take(begin)
        operator.client.close()
        truth = truth_of(bench.saw, kind, begin.options, finding)
        say_finding(finding, say, truth)
    answer = {"finding": finding, "truth": truth, "seed": seed}
    return answer, not outside_uncertainty(finding, truth)


async def _moved_and_verified(operator: Operator, finding: Finding) -> Finding:
    """A person follows the leaves that were named; where none fits, the distance
    itself, live."""
    move = finding.proposed
    assert move is not None
    distance = sum(move.leaves) if move.leaves else move.distance
    operator.say(f"Hands move the {move.end} end {distance:.3f} mm {WAYS[move.way]}.")
    await operator.hands.turn_fence(move.end, move.way, distance)
    how = "leaves" if move.leaves else "live"
    await operator.note(NoteMove(finding.id, distance=distance, how=how))
    options: dict[str, Any] = {"placements": "handle-left"}
    after = await operator.take(Begin(JOB, options=options, verifies=finding.id))
    say_finding(after, operator.say)
    return after


def say_finding(finding: Finding, say: Say, truth: Truth | None = None) -> None:
    """truth: said beside it where it is given."""
    from bench.checks import find
    from bench.render.printed_result import result_lines

    board = BOARD_MM if find(finding.check).turns_fence else None
    for line in result_lines(finding, "mm", board):
        say(line)
    for line in truth_words(finding, truth or {}):
        say(f"In truth, {line}.")
