"""One action for each press of a pedal whose contact bounces."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

STABLE_S = 0.02  # s without a change, after which a contact has stopped bouncing
LONG_S = 1.0  # s of holding that make a long press


class Handle(Protocol):
    def cancel(self) -> object: ...


class Loop(Protocol):
    """The part of an event loop that the panel uses."""

    def call_later(self, delay: float, callback: Callable[[], object], /) -> Handle: ...

    def call_soon_threadsafe(self, callback: Callable[[], object], /) -> object: ...


class Pedal:
    """Makes one action of each press of a contact that bounces.

    A short press acts when the pedal is released, as only then it is not a long one; a
    long press acts while it is held. level() reads the contact itself, before every
    action. gpiozero's bounce_time and when_held are not used: with them presses have
    gone missing and a long press has come after its release.
    """

    def __init__(
        self,
        level: Callable[[], bool],
        loop: Loop,
        on_press: Callable[[], object],
        on_long: Callable[[], object],
    ) -> None:
        self._level, self._loop = level, loop
        self._on_press, self._on_long = on_press, on_long
        self._down = level()
        # a pedal that is down at the start makes no press when it is released
        self._spent = self._down
        self._settling: Handle | None = None
        self._holding: Handle | None = None

    def changed(self) -> None:
        """The contact changed; called on the loop. It counts once it is stable."""
        if self._settling is not None:
            self._settling.cancel()
        self._settling = self._loop.call_later(STABLE_S, self._settled)

    def stop(self) -> None:
        for handle in (self._settling, self._holding):
            if handle is not None:
                handle.cancel()
        self._settling = self._holding = None

    def _settled(self) -> None:
        self._settling = None
        down = self._level()
        if down == self._down:
            return
        self._down = down
        if down:
            self._spent = False
            self._holding = self._loop.call_later(LONG_S - STABLE_S, self._held)
            return
        if self._holding is not None:
            self._holding.cancel()
            self._holding = None
        if not self._spent:
            self._spent = True
            self._on_press()

    def _held(self) -> None:
        self._holding = None
        if not self._level():
            # the contact opened without a call: it has to settle first
            self.changed()
            self._holding = self._loop.call_later(2 * STABLE_S, self._held)
            return
        self._spent = True
        self._on_long()
