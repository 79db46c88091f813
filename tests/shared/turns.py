"""Waiting for what happens on an event loop: a condition is looked at after each turn of the loop, not by the clock.

Or only where the loop has nothing left to do: `until(true, at_rest=True)`.

What another thread changes has to wake the loop (`call_soon_threadsafe`), as it must for any program.
"""

from __future__ import annotations

import asyncio
import selectors
import threading
from collections.abc import Callable
from contextvars import copy_context
from functools import partial


class NeverCame(AssertionError):
    """What a test waited for."""


HANG_S = 60.0  # s after which a test gives up; what it waits for comes as soon as the machine lets it

_here = (
    threading.local()
)  # waiting: the conditions that tests on this thread's loop wait for, each with its future


class Turns(selectors.DefaultSelector):
    """What an event loop sleeps in; before it falls asleep each condition is looked at, and it stays awake if one holds."""

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        waiting = getattr(_here, "waiting", ())
        if any([_looked(*one) for *one, at_rest in waiting if not at_rest]):
            timeout = 0
        if timeout == 0 or not any(at_rest for *_, at_rest in waiting):
            return super().select(timeout)
        found = super().select(0)
        if found or any([_looked(*one) for *one, at_rest in waiting if at_rest]):
            return found
        return super().select(timeout)


def _looked(true: Callable[[], object], found: asyncio.Future[None]) -> bool:
    if not found.done():
        try:
            if not true():
                return False
            found.set_result(None)
        except BaseException as error:  # of the test's own condition: raised where it waits
            found.set_exception(error)
    return True


async def until(
    true: Callable[[], object],
    seconds: float = HANG_S,
    told: Callable[[], object] = lambda: "",
    at_rest: bool = False,
) -> None:
    """Wait until the condition holds. told: what is said if it never does."""
    found = asyncio.get_running_loop().create_future()
    one = (partial(copy_context().run, true), found, at_rest)  # as if the test itself looked
    _here.waiting = [*getattr(_here, "waiting", ()), one]
    try:
        async with asyncio.timeout(seconds):
            await found
    except TimeoutError:
        raise NeverCame(f"it never came: {told()}") from None
    finally:
        _here.waiting = [other for other in _here.waiting if other is not one]
