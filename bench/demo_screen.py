"""The demonstration with the screen: the virtual saw, a real daemon, the real console, and hands by two keys.

The hands put and lean what the daemon asks for; the pushes and the screw are the user's, by the key `h`, or the
operator's, by the key `o`. The console knows nothing of the virtual saw. May import: everything.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Coroutine
from typing import Any

from bench.asking import Ask
from bench.console.actions import Action
from bench.demo import PUSH, SPEED, Wire, connect, virtual_bench
from bench.wire import Asking, Concluded, GetStatus, LiveSaid, Press, StatusReply
from hw.virtual.hands import Hands

BITE = 0.06  # mm that the free end goes at one turn of the wrist
NEAR = 0.003  # mm from the aim where hands stop turning


class Following:
    """Hands that follow what the daemon asks, heard over a wire of their own."""

    def __init__(self, wire: Wire, hands: Hands) -> None:
        self.wire = wire
        self.hands = hands
        self.operator = False  # does everything, Enter too
        self.ask: Ask | None = None
        self.live: LiveSaid | None = None
        self._done: object = None  # the ask that the hands have already answered
        self._work: asyncio.Task[None] | None = None
        self._listening = asyncio.create_task(self._listen())

    async def close(self) -> None:
        for task in (self._listening, self._work):
            if task is not None:
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task

    @property
    def busy(self) -> bool:
        return self._work is not None and not self._work.done()

    def push_or_turn(self) -> None:
        """The key `h`: what a hand would do now."""
        if not self.busy:
            self._start(self._hand())

    def word(self) -> str:
        if self.busy:
            return "(hands)"
        if self.live is not None and self.live.phase == "go":
            return "turn"
        return "push"

    def can(self) -> bool:
        if self.live is not None:
            return self.live.phase == "go"
        return self.ask is not None and self.ask.phase == "sweep" and self.ask.ready

    def turn_operator(self) -> None:
        self.operator = not self.operator
        self._done = None  # what the hands have done already may still want its Enter
        self._look()

    async def _listen(self) -> None:
        self.wire.send(GetStatus())
        while (message := await self.wire.inbox.get()) is not None:
            if isinstance(message, Asking):
                self.ask = message.ask
            elif isinstance(message, StatusReply):
                self.ask = message.run.ask if message.run is not None else None
            elif isinstance(message, LiveSaid):
                self.live = message if message.on else None
            elif isinstance(message, Concluded):
                self.ask = None
            self._look()

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        async def then_look() -> None:
            await work
            asyncio.get_running_loop().call_soon(self._look)

        self._work = asyncio.create_task(then_look())

    def _look(self) -> None:
        """Do by itself what needs no decision: put, lean, go to a mark; with the operator everything."""
        if self.busy:
            return
        if self.live is not None:
            key: object = ("live", self.live.phase)
            if self.live.phase == "lean" and key != self._done:
                self._done = key
                self._start(self._to_free_end())
            elif self.operator and self.live.phase == "go" and (self.live.to_go or 0.0) > NEAR:
                self._start(self._hand())
            return
        ask = self.ask
        if ask is None:
            self._done = None
            return
        key = (ask.phase, ask.placement, ask.lean, ask.mark, ask.taken, ask.ready, ask.remark)
        if key == self._done:
            return
        if ask.phase in ("place", "lean", "mark"):
            self._done = key
            self._start(self._follow(ask))
        elif self.operator and (ask.phase == "cautions" or (ask.phase == "sweep" and ask.ready)):
            self._done = key
            self._start(self._hand() if ask.phase == "sweep" else self._press())

    async def _press(self) -> None:
        self.wire.send(Press(waits=False))

    async def _follow(self, ask: Ask) -> None:
        if ask.phase == "place":
            await self.hands.put(ask.placement or "")
        elif ask.phase == "lean":
            await self.hands.lean(ask.lean)
            await self.hands.rest(0.3)
        else:
            if ask.mark == 1 and ask.taken:
                await self.hands.pull_back()
                await self.hands.seat()
            await self.hands.stop_at(ask.at or 0.0)
        if self.operator:
            self.wire.send(Press(waits=False))

    async def _hand(self) -> None:
        if self.live is not None:
            live = self.live
            if live.phase == "go" and live.end is not None and live.way is not None and live.to_go:
                await self.hands.turn_fence(live.end, live.way, min(BITE, live.to_go))
            return
        ask = self.ask
        if ask is None or not self.can():
            return
        if ask.taken or ask.remark:
            await self.hands.pull_back()
            await self.hands.seat()
        await self.hands.push(PUSH, SPEED)

    async def _to_free_end(self) -> None:
        await self.hands.put("free-end")
        await self.hands.lean("left")
        await self.hands.lean("right")
        await self.hands.lean(None)


def actions(following: Following) -> tuple[Action, ...]:
    return (
        Action(
            "hand",
            ("h",),
            lambda desk: following.word(),
            "Pretend saw: the hands push the sled, or turn the screw a little.",
            lambda desk: following.push_or_turn(),
            lambda desk: following.can(),
        ),
        Action(
            "operator",
            ("o",),
            lambda desk: "hands off" if following.operator else "let them",
            "Pretend saw: let the hands do everything themselves, or stop them.",
            lambda desk: following.turn_operator(),
        ),
    )


async def run_screen(seed: int, *, marks: bool = False, look: str | None = None) -> None:
    """Until the screen is left. Raises DemoError when the daemon does not come up."""
    from bench.console.app import make_console

    async with virtual_bench(seed, marks=marks) as (_saw, hands, _ports, folder, _daemon):
        following = Following(await connect(folder), hands)
        try:
            await make_console(folder / "socket", look=look, extra=actions(following)).run_async()
        finally:
            await following.close()


__all__ = ["Following", "actions", "run_screen"]
