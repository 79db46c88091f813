"""Hands on the virtual saw: a client of the daemon that follows what it asks.

They put, lean, go to marks, touch and measure by themselves. The push, the screw and
every slip are the user's, by a key; as the operator they do everything, Enter too.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from typing import Any

from bench import protocol
from bench.checks.options import OptionValue
from bench.demo.hand_actions import (
    BITE,
    BY_THEMSELVES,
    DRAWN,
    NEAR_AIM,
    follow,
    lean_both_ways,
    push,
    tap,
    tighten,
)
from bench.demo.truth import JOB
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol.async_client import AsyncClient
from hw.virtual.hands import Hands
from hw.virtual.ptys import VirtualPorts

READ = 4.0  # s that the operator leaves a result on the screen
# fields of a request; hands that answered it act again when one of them changes
ACTED_ON = (
    *("phase", "placement", "step", "at", "lean", "mark", "taken", "ready", "enter"),
    "because",
)
TAKEN_BY_ITSELF = 4.0  # s after which Enter is pressed for a number all the same
PROOF_S = 0.3  # that the indicator is left at rest before Enter


class HandsClient:
    """Hands that follow what the daemon asks, heard over a connection of their own.

    operator: does everything, Enter too. begins: the operator begins the job by itself
    where nothing is asked, makes its move and proves it. heard: called with each
    message once the hands know it, with None where they get into trouble or the daemon
    is gone.
    """

    def __init__(
        self,
        client: AsyncClient,
        hands: Hands,
        ports: VirtualPorts | None = None,
        *,
        operator: bool = False,
        begins: bool = True,
        heard: Callable[[protocol.Message | None], object] = lambda message: None,
    ) -> None:
        self.client = client
        self.hands = hands
        self.ports = ports
        self.operator = operator
        self._begins = begins
        self._heard = heard
        self.finding: Finding | None = None  # the latest
        self._made: set[str] = set()  # findings whose move was made
        self._begun: object = None  # what the operator began last
        self.ask: Prompt | None = None
        self.live: protocol.LiveMoveNotice | None = None
        self.unplugged = self.gone = False
        self.tapped = False  # the stand, since it was asked for
        self.tight = False  # the screw was tightened in this live move
        self.slipped = False  # the set-up was put wrong on purpose
        self.trouble = ""  # why the pretend saw cannot do what is asked
        # of the check in progress
        self.options: dict[str, OptionValue] = {}
        self._at_free_end = False
        # way of the live move, as it was before anything was moved
        self._meant: str | None = None
        self.placement_before: str | None = None  # the set-up before the present one
        self._placement: str | None = None
        self._answered: object = None  # the ask that the hands have already answered
        self._work: asyncio.Task[None] | None = None
        self._changed = asyncio.Event()  # something was heard
        self._listening = asyncio.create_task(self._listen())

    async def close(self) -> None:
        await self.stop()
        self.client.close()

    async def stop(self) -> None:
        """Let go, and leave the connection to whoever goes on with it."""
        for task in (self._listening, self._work):
            if task is not None:
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task

    @property
    def busy(self) -> bool:
        return self._work is not None and not self._work.done()

    # ---- the user's keys -------------------------------------------------------------

    def hand(self) -> None:
        """What a hand would do now: push, tap the stand, turn the screw, tighten it."""
        if not self.busy:
            self.start(self._hand())

    def hand_word(self) -> str:
        if self.busy:
            return "wait"
        if self.live is not None:
            return (
                "tighten" if self.live.phase == "tighten" and not self.tight else "turn"
            )
        return "tap" if self.ask is not None and self.ask.phase == "tap" else "push"

    def can_hand(self) -> bool:
        if self.live is not None:
            return self.live.phase in ("go", "tighten")
        ask = self.ask
        return ask is not None and (
            (ask.phase == "sweep" and ask.ready)
            or (ask.phase == "tap" and ask.enter and not ask.waiting)
        )

    def turn_operator(self) -> None:
        self.operator = not self.operator
        self._begun = None
        found = self.finding
        if found is not None and (found.check != JOB or found.move is None):
            self.finding = None  # the job is begun anew
        self._answered = None  # what is done already may still want its Enter
        self._act()

    # ---- by themselves ---------------------------------------------------------------

    async def _listen(self) -> None:
        self.client.send(protocol.GetStatus())
        while (message := await self.client.inbox.get()) is not None:
            self._hear(message)
            if self.ask is None or self.ask.phase != "tap" or not self.ask.enter:
                # another set-up, or at rest once more before the next tap
                self.tapped = False
            self._changed.set()
            self._heard(message)
            self._act()
        self.gone = True
        self._heard(None)

    def _hear(self, message: protocol.Message) -> None:
        if isinstance(message, protocol.PromptChanged):
            self.ask, self.options = message.ask, message.options or self.options
        elif isinstance(message, protocol.StatusReply):
            run = message.run
            self.ask = run.ask if run is not None else None
            self.options = run.options if run is not None else self.options
            self.finding = message.last[0] if message.last else None
            under_way = self.ask is not None and (self.ask.waiting or self.ask.moving)
            if not self.busy and not under_way:
                self._answered = None  # the daemon has not seen what the hands did
        elif isinstance(message, protocol.LiveMoveNotice):
            self._hear_live(message)
        elif isinstance(message, protocol.FindingNotice):
            self.ask, self.finding = None, message.finding
        elif isinstance(message, protocol.SavedNotice) and message.what == "move":
            self._made.add(message.id)
        elif isinstance(message, protocol.Error):
            self.operator = False
            self.trouble = f"It cannot go on by itself: {message.text}"

    def _hear_live(self, said: protocol.LiveMoveNotice) -> None:
        began = self.live is None
        self.live = said if said.on else None
        if began or not said.on:
            self.tight = self._at_free_end = False
            self._meant = None
            self._answered = None
        if said.phase == "go":
            self.tight = False  # slackened again
            self._meant = self._meant or said.way

    def start(self, work: Coroutine[Any, Any, None]) -> None:
        """Have the hands do it, then look at what is asked."""

        async def then_look() -> None:
            with contextlib.suppress(ValueError):  # the saw told what it cannot
                await work
            asyncio.get_running_loop().call_soon(self._act)

        self._work = asyncio.create_task(then_look())

    def _act(self) -> None:
        """Do by itself what needs no decision: put, lean, go to a mark; with the
        operator everything."""
        if self.busy:
            return
        if self.live is not None:
            self._act_live(self.live)
            return
        ask, key = self.ask, self._acted_on()
        if ask is None:
            self._answered = self.placement_before = self._placement = None
            if self.operator and self._begins:
                self._act_at_rest(self.finding)
        elif key != self._answered:
            by_operator = ask.phase == "cautions" or self.can_hand()
            if ask.phase in BY_THEMSELVES or (self.operator and by_operator):
                self._answered = key
                self.start(self._answer(ask))

    def _act_at_rest(self, finding: Finding | None) -> None:
        """Begin the check, then its live move, then the proof; then stop."""
        if finding is None:  # as the form on the screen has it
            request: protocol.Begin | protocol.LiveMoveRequest = protocol.Begin(
                JOB, lean=True
            )
        elif finding.check != JOB or finding.move is None:
            self.operator = False
            return
        elif finding.id in self._made:
            request = protocol.Begin(
                JOB, jig=finding.jig, lean=True, verifies=finding.id
            )
        else:
            request = protocol.LiveMoveRequest(finding=finding.id)
        if request != self._begun:
            self.start(self._begin(request))

    async def _begin(self, request: protocol.Begin | protocol.LiveMoveRequest) -> None:
        if self.finding is not None:
            await self.hands.rest(READ)
        if self.operator:
            self._begun = request
            self.client.send(request)

    def _act_live(self, live: protocol.LiveMoveNotice) -> None:
        if live.phase not in ("go", "tighten", "end"):
            key: object = ("live", live.phase, live.remarks)
            if key != self._answered:
                self._answered = key
                self.start(self._prove(live))
        elif self.operator and live.phase in ("go", "tighten"):
            pressed = ("pressed", live.phase)  # once: the answer may take its time
            if live.there if live.phase == "go" else self.tight:
                if self._answered != pressed:
                    self._answered = pressed
                    self.start(self._press())
                elif live.still_moves:
                    self.start(self._press_again())
            elif live.phase == "tighten" or (
                live.to_go is not None and abs(live.to_go) > NEAR_AIM
            ):
                self.start(self._hand())

    async def _press(self) -> None:
        self.client.send(protocol.Press(waits=False))

    async def _press_again(self) -> None:
        """Let the number hold, then press again."""
        while self.live is not None and self.live.still_moves:
            await asyncio.sleep(PROOF_S)
            await self._press()

    async def _answer(self, ask: Prompt) -> None:
        """Do what is asked; the operator presses Enter for it, too."""
        if ask.phase == "place":
            if self._placement != ask.placement:
                self.placement_before, self._placement = self._placement, ask.placement
            self.trouble, self.slipped = "", False
        try:
            await self._do(ask)
        except ValueError as error:
            self.trouble = f"The pretend saw cannot: {error}."
            self._heard(None)
            raise
        if ask.by_itself and self.operator:
            await self._goes_on()
        if self.operator and ask.enter and self._acted_on() == self._answered:
            await self._press()

    async def _do(self, ask: Prompt) -> None:
        if ask.phase == "tap":
            await tap(self.hands)
            self.tapped = True
            await self.hands.rest(PROOF_S)
        elif ask.phase == "sweep":
            await push(self.hands, ask)
        else:
            await follow(self.hands, ask, self.options)

    async def _goes_on(self) -> None:
        """Until the number is taken by itself; one that came back too far from the one
        before is asked about."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(TAKEN_BY_ITSELF):
                while self._acted_on() == self._answered:
                    self._changed.clear()
                    await self._changed.wait()

    def _acted_on(self) -> object:
        return tuple(getattr(self.ask, name, None) for name in ACTED_ON)

    async def _prove(self, live: protocol.LiveMoveNotice) -> None:
        if not self._at_free_end:
            await self.hands.put("free-end")
            self._at_free_end = True
        if live.phase == "lean":
            await lean_both_ways(self.hands)
        if self.operator and live.enter:
            await asyncio.sleep(PROOF_S)
            await self._press()

    async def _hand(self) -> None:
        live, ask = self.live, self.ask
        if live is not None and live.phase == "tighten" and not self.tight:
            self.tight = True
            await tighten(self.hands, -DRAWN if self._meant == "away" else DRAWN)
        elif live is not None:
            if live.phase in ("go", "tighten") and live.end and live.way and live.to_go:
                distance = min(BITE, abs(live.to_go))
                await self.hands.turn_fence(live.end, live.way, distance)
        elif ask is not None and self.can_hand():
            await self._do(ask)
