"""A user before the console on a real daemon behind the virtual saw, for the tests that work by keys.

Answers whatever is asked, by phase and never by counting presses. Loaded as `console_job` by conftest.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import turns

from bench.console.app import make_console
from bench.console.requests import HELD_S
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect, virtual_bench
from bench.demo.screen import HandKeys

LONG = 60.0  # s that anything may take on a busy machine


class Job:
    """Answers what is asked as a user does: `press` types a key, `following` are the hands and what they hear."""

    def __init__(self, press: Callable[[str], Awaitable[None]], hands_client: HandsClient) -> None:
        self._press, self.hands_client = press, hands_client
        self.pressed: set[str] = set()
        self._entered = 0.0  # when Enter was pressed last, s
        self.by_key = True  # the hand too; a screen without the demonstration's keys has none for it
        self.shows: Callable[[str], bool] = lambda page: True  # whether that page stands there, with its rows

    async def press(self, key: str) -> None:
        self.pressed.add(key)
        if key == "enter":  # a hand lifts the finger in between
            await asyncio.sleep(max(0.0, self._entered + HELD_S - time.monotonic()))
            self._entered = time.monotonic()
        await self._press(key)

    def asked(self) -> object:
        live, ask = self.hands_client.live, self.hands_client.ask
        if live is not None:
            return (
                live.phase,
                live.enter,
                live.words if live.phase not in ("go", "tighten") else self.hands_client.tight,
            )
        if ask is None:
            return None
        return (
            ask.phase,
            ask.placement,
            ask.lean,
            ask.mark,
            ask.taken,
            ask.ready,
            ask.waiting,
            ask.moving,
            ask.remark,
            ask.enter,
            self.hands_client.tapped,
        )

    async def answer(self, over: Callable[[], bool]) -> None:
        """One answer, once the hands are free, unless it is over; then something else is asked."""
        await wait(lambda: over() or (self._key() is not None and not self.hands_client.busy))
        now = self.asked()
        key = self._key()
        if key is None or over():
            return
        if key == "h" and not self.by_key:
            self.hands_client.hand()
        else:
            await self.press(key)
        await wait(lambda: self.asked() != now or self.hands_client.busy or self._nearer(), 1.5, strict=False)
        await wait(lambda: not self.hands_client.busy)

    def _nearer(self) -> bool:
        return self.hands_client.live is not None and self.hands_client.live.phase == "go"

    def _key(self) -> str | None:
        live, ask = self.hands_client.live, self.hands_client.ask
        if live is not None:
            if live.phase == "go":
                if live.there:
                    return "enter"
                return "h" if live.to_go is not None and abs(live.to_go) > 0.004 else None
            if live.phase == "tighten" and not self.hands_client.tight:
                return "h"
            return "enter" if live.enter else None
        if ask is None:
            return None
        if ask.phase == "sweep":
            return "h" if ask.ready and not ask.moving else None
        if ask.phase == "tap" and ask.enter and not self.hands_client.tapped:
            return "h"
        return "enter" if ask.enter and not ask.waiting else None

    async def until(self, met: Callable[[], bool], seconds: float = 90.0) -> None:
        end = time.monotonic() + seconds
        while not met():
            assert time.monotonic() < end, (
                f"never came; asked: {self.hands_client.ask} {self.hands_client.live}"
            )
            await self.answer(met)

    async def until_kept(self, taken: int, placement: str = "handle-left") -> None:
        def kept() -> bool:
            ask = self.hands_client.ask
            return ask is not None and ask.placement == placement and ask.taken >= taken and not ask.moving

        await self.until(kept)


async def wait(met: Callable[[], bool], seconds: float = LONG, *, strict: bool = True) -> None:
    """Until it is so; not strict: or that time is over, and it is done without."""
    with contextlib.nullcontext() if strict else contextlib.suppress(turns.NeverCame):
        await turns.until(met, seconds)


@contextlib.asynccontextmanager
async def bench(tmp_path: Path, seed: int = 3):
    async with virtual_bench(seed, folder=tmp_path) as (saw, hands, ports, folder, daemon):
        hands_client = HandsClient(await connect(folder), hands, ports)
        try:
            yield saw, hands_client, folder, daemon
        finally:
            await hands_client.close()


@contextlib.asynccontextmanager
async def screen(folder: Path, hands_client: HandsClient, size=(80, 24), look: str = "shop"):
    """A console on that daemon, with the demonstration's keys, and the user before it."""
    app = make_console(folder / "socket", theme=look, extension=HandKeys(hands_client))
    async with app.run_test(size=size) as pilot:
        await wait(lambda: app.view.status_known and app.view.gear is not None and bool(app.view.checks))
        await wait(lambda: app._shown_screen() is not None)  # before it there is nobody to press a key for
        job = Job(pilot.press, hands_client)
        job.shows = lambda page: app.screen.page == page and bool(app.screen._rows)
        yield app, job


async def shows(app, *words: str) -> str:
    """Until all of it stands on the screen, blanks and line ends as one."""

    def there(text: str) -> bool:
        # the screen as one line, whole and without what stands beside the words
        sides = [" ".join(" ".join(line[:room].split()) for line in text.splitlines()) for room in (43, 200)]
        return all(any(word in side for side in sides) for word in words)

    return await drawn(app, there)


async def drawn(app, met: Callable[[str], bool], seconds: float = LONG) -> str:
    """What stands on the screen as soon as it is as wanted; it is read anew each time it was drawn."""
    text, fresh = "", True

    def note() -> None:
        nonlocal fresh
        fresh = True

    def holds() -> bool:
        nonlocal text, fresh
        if fresh:
            text, fresh = "\n".join(rows(app)), False
        return met(text)

    app.post_display_hook = note
    await turns.until(holds, seconds, lambda: f"the screen shows:\n{text}")
    return text


def rows(app) -> list[str]:
    """What stands on the screen, row by row."""
    strips = app.screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip) for strip in strips]


async def begin(job: Job, *keys: str) -> None:
    """The first check of the list, its form filled by `keys`; each page is waited for before it is answered."""
    for page in ("checks", "options"):
        await job.press("1")
        await wait(lambda page=page: job.shows(page))
    for key in keys or ("1",):
        await job.press(key)
    if not keys or keys[-1] == "1":
        await wait(lambda: job.hands_client.ask is not None)
