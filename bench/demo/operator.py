"""The operator of the virtual bench: a client of the daemon like any other, whose hands
do what it asks.

Starts a virtual saw, a real daemon on its pseudo-terminals, with its own temporary log,
socket and settings, takes a whole check, makes the move with the leaves that were
named, and verifies. The only place where the virtual saw and the house meet.
"""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from bench.checks.options import OptionValue
from bench.demo.daemon_process import (
    DemoError,
    Say,
    end_daemon,
    start_daemon,
    write_settings,
)
from bench.demo.hand_actions import BY_THEMSELVES, follow, push, tap
from bench.demo.truth import JOB
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol import (
    AnyNotification,
    Begin,
    Concluded,
    Done,
    Error,
    Extend,
    GetStatus,
    MarkNotice,
    Moved,
    NoFinding,
    Notice,
    PassNotice,
    Press,
    PromptChanged,
    StatusReply,
)
from bench.protocol.async_client import AsyncClient
from hw.patience import DEMO_TELL_S
from hw.virtual.hands import Hands
from hw.virtual.ptys import VirtualPorts
from hw.virtual.saw import VirtualSaw

RATE = 120.0  # readings a second
BOARD = 600.0  # mm: the pretend sled's widest board, see hw.virtual.saw
# pushes more in a set-up that the hands take to settle what is too close: all must be
# over in 45 s
MOST_MORE = 1
TAKEN_BY_ITSELF = 4.0  # s after which hands press Enter for a number all the same


WAITED_FOR = {
    "cautions": "the first set-up",
    "sweep": "the pass to be kept",
    "working-out": "the result",
    "done": "the result",
}  # by phase; what else is asked is answered by Enter


class Operator:
    """Does what the daemon asks for, through `hands`, until a finding comes."""

    def __init__(self, client: AsyncClient, hands: Hands, say: Say) -> None:
        self.client = client
        self.hands = hands
        self.say = say
        self._ask: Prompt | None = None
        self._options: dict[str, OptionValue] = {}  # of the check in progress
        self._finding: Finding | None = None
        self._trouble: str | None = None
        self._again = False  # the daemon answers, and has not seen what the hands did
        self._fresh = asyncio.Event()  # something was heard since the last look
        self._over = False
        self._warned = False  # the cautions were told

    async def take(self, begin: Begin | Extend) -> Finding:
        """Take one check, or the rest of one, to its finding. Raises DemoError."""
        self._forget()
        listening = asyncio.create_task(self._listen())
        self.client.send(begin)
        try:
            while self._finding is None:
                await self._until(
                    lambda: self._ask is not None or self._finding is not None,
                    "what is asked",
                )
                if self._finding is None:
                    await self._do(self._now)
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)
        return self._finding

    def _forget(self) -> None:
        self._ask = self._finding = None

    @property
    def _now(self) -> Prompt:
        assert self._ask is not None
        return self._ask

    async def _do(self, ask: Prompt) -> None:
        if ask.phase == "cautions":
            for caution in ask.cautions if not self._warned else ():
                self.say(f"! {caution}")
            self._warned = True
            self.client.send(Press())
        elif ask.phase == "place":
            if ask.remark:
                self.say(f"  {ask.remark}")
            self.say(f"[{ask.step} of {ask.steps}] {ask.words}")
            await self._follow(ask)
        elif ask.phase in BY_THEMSELVES:
            await self._follow(ask)
        elif ask.phase == "tap" and ask.enter:
            await tap(self.hands)
            await self.hands.rest(0.3)
            self.client.send(Press())
        elif ask.phase == "sweep" and ask.ready:
            await push(self.hands, ask)
        self._again = False
        await self._until(lambda: self._again or self._changed(ask), _waited_for(ask))

    async def _follow(self, ask: Prompt) -> None:
        try:
            await follow(self.hands, ask, self._options)
        except ValueError as error:
            raise DemoError(f"the pretend saw cannot: {error}") from error
        if not ask.by_itself or not await self._goes_on(ask):
            self.client.send(Press())

    async def _goes_on(self, ask: Prompt) -> bool:
        """Whether the number is taken by itself; one that came back too far from the
        one before is asked about."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(TAKEN_BY_ITSELF):
                await self._until(lambda: self._changed(ask), "the number")
        return self._changed(ask)

    def _changed(self, ask: Prompt) -> bool:
        return self._finding is not None or _moved_on(ask, self._ask)

    async def _listen(self) -> None:
        while (message := await self.client.inbox.get()) is not None:
            self._hear(message)
            self._fresh.set()
        self._over = True
        self._fresh.set()

    def _hear(self, message: AnyNotification) -> None:
        if isinstance(message, PromptChanged):
            self._ask, self._options = message.ask, message.options
        elif isinstance(message, StatusReply) and message.run is not None:
            now = message.run.ask
            self._again = not (
                now.waiting
                or now.moving
                or self._ask is None
                or _moved_on(self._ask, now)
            )
        elif isinstance(message, PassNotice) and message.state in (
            "kept",
            "measured",
            "refused",
        ):
            self.say(f"  {message.words}")
        elif isinstance(message, MarkNotice):
            self.say(f"  mark {message.number} of {message.of}: {message.words}")
        elif isinstance(message, Notice):
            self.say(f"  {message.words}")
        elif isinstance(message, Concluded):
            self._finding = message.finding
        elif isinstance(message, NoFinding):
            self._trouble = message.words
        elif isinstance(message, Error):
            self._trouble = message.text

    async def _until(self, met: Callable[[], bool], what: str) -> None:
        """However long the daemon takes while it lives; what is waited for is said, and
        how things stand is asked."""
        while not met():
            self._fresh.clear()
            if self._trouble is not None:
                raise DemoError(self._trouble)
            if self._over:
                raise DemoError("the daemon went away")
            try:
                await asyncio.wait_for(self._fresh.wait(), DEMO_TELL_S)
            except TimeoutError:
                self.say(f"  Still waiting for {what}.")
                self.client.send(GetStatus())
        if self._trouble is not None and self._finding is None:
            raise DemoError(self._trouble)


def _waited_for(ask: Prompt) -> str:
    not_ready = ask.phase == "sweep" and not ask.ready
    return "READY" if not_ready else WAITED_FOR.get(ask.phase, "Enter to be taken")


def _moved_on(before: Prompt, now: Prompt | None) -> bool:
    """Whether what is asked has changed in a way that needs hands."""
    if now is None:
        return False
    key = (
        "phase",
        "ready",
        "placement",
        "step",
        "at",
        "taken",
        "mark",
        "lean",
        "enter",
        "remark",
    )
    return any(getattr(before, name) != getattr(now, name) for name in key)


@contextlib.asynccontextmanager
async def virtual_bench(
    seed: int,
    *,
    marks: bool = False,
    folder: Path | None = None,
    say: Say = lambda words: None,
) -> AsyncIterator[tuple[VirtualSaw, Hands, VirtualPorts, Path, Any]]:
    """A virtual saw, its hands and ports, a folder with settings, and a daemon process
    at its socket."""
    saw = VirtualSaw.draw(seed)
    hands = Hands(saw)
    with contextlib.ExitStack() as stack:
        if folder is None:
            folder = Path(
                stack.enter_context(
                    tempfile.TemporaryDirectory(prefix="sweepgauge-demo-")
                )
            )
        ports = VirtualPorts(saw, hands, folder / "ports", RATE, caliper=True)
        await ports.start()
        try:
            write_settings(folder / "settings.toml", saw, ports.paths, marks=marks)
            daemon = await start_daemon(folder, say)
            try:
                yield saw, hands, ports, folder, daemon
            finally:
                await end_daemon(daemon)
        finally:
            await ports.stop()


async def connect(folder: Path) -> AsyncClient:
    return await AsyncClient.connect(folder / "socket")


async def headless(
    seed: int, say: Say, *, marks: bool = False, lean: bool = False, tap: bool = False
) -> tuple[dict[str, Any], bool]:
    """One whole check and its move. The answer for `--json`, and whether the fence
    ended inside its tolerance."""
    async with virtual_bench(seed, marks=marks, say=say) as (
        saw,
        hands,
        _,
        folder,
        _daemon,
    ):
        client = await connect(folder)
        operator = Operator(client, hands, say)
        finding = await operator.take(Begin(JOB, lean=lean, tap=tap))
        if finding.more_pushes is not None and finding.more_pushes <= MOST_MORE:
            say_finding(finding, say)
            finding = await operator.take(Extend(finding.more_pushes, finding.id))
        before = saw.truth()
        after = finding
        say_finding(finding, say)
        if finding.proposed is not None:
            move = finding.proposed
            # a person follows the leaves that were named; where none fits, the distance
            # itself, live
            distance = sum(move.leaves) if move.leaves else move.distance
            way = "away from you" if move.way == "away" else "toward you"
            say(f"Hands move the {move.end} end {distance:.3f} mm {way}.")
            await hands.turn_fence(move.end, move.way, distance)
            client.send(
                Moved(
                    finding.id,
                    distance=distance,
                    how="leaves" if move.leaves else "live",
                )
            )
            await _noted(client, say)
            options: dict[str, Any] = {"placements": "handle-left"}
            after = await operator.take(
                Begin(JOB, options=options, verifies=finding.id)
            )
            say_finding(after, say)
        client.close()
        now = saw.truth()["rotation"]
        tolerance = finding.quantities[0].tolerance or 0.0
        answer = {
            "finding": finding,
            "truth": {
                "rotation": before["rotation"],
                "reference_error": before["reference_error"],
            },
            "after": after,
            "truth_after": {"rotation": now},
            "seed": seed,
        }
        say(
            f"The virtual saw tells: the fence was {before['rotation'] * 300:+.3f} mm"
            f" per 300 mm, the square {before['reference_error'] * 300:+.3f}; now the"
            f" fence is {now * 300:+.3f}."
        )
        return answer, abs(now) <= tolerance


async def _noted(client: AsyncClient, say: Say) -> None:
    """Until the daemon has noted the move. Raises DemoError."""
    while True:
        try:
            message = await asyncio.wait_for(client.inbox.get(), DEMO_TELL_S)
        except TimeoutError:
            say("  Still waiting for the move to be noted.")
            continue
        if message is None:
            raise DemoError("the daemon went away")
        if isinstance(message, Error):
            raise DemoError(message.text)
        if isinstance(message, Done):
            return


def say_finding(finding: Finding, say: Say) -> None:
    from bench.checks import find
    from bench.render.result import result_lines

    board = BOARD if find(finding.check).turns_fence else None
    for line in result_lines(finding, "mm", board):
        say(line)
