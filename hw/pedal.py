"""One action for each press of a pedal whose contact bounces."""

from __future__ import annotations

from asyncio import AbstractEventLoop
from collections.abc import Callable

from hw.timer import Timer

STABLE_S = 0.02  # s without a change, after which a contact has stopped bouncing
LONG_S = 1.0  # s of holding that make a long press


class Pedal:
    """Debounces the contact of a pedal: one action for each press.

    A short press acts when the pedal is released, as only then it is not a long one; a
    long press acts while it is held. level() reads the contact itself, before every
    action. gpiozero's bounce_time and when_held are not used: with them presses have
    gone missing and a long press has come after its release.
    """

    def __init__(
        self,
        level: Callable[[], bool],
        loop: AbstractEventLoop,
        on_press: Callable[[], object],
        on_long: Callable[[], object],
    ) -> None:
        self._level = level
        self._on_press, self._on_long = on_press, on_long
        self._down = level()
        # a pedal that is down at the start makes no press when it is released
        self._spent = self._down
        self._settling, self._holding = Timer(loop), Timer(loop)

    def changed(self) -> None:
        """The contact changed; called on the loop. It counts once it is stable."""
        self._settling.start(STABLE_S, self._settled)

    def stop(self) -> None:
        self._settling.stop()
        self._holding.stop()

    def _settled(self) -> None:
        down = self._level()
        if down == self._down:
            return
        self._down = down
        if down:
            self._spent = False
            self._holding.start(LONG_S - STABLE_S, self._held)
            return
        self._holding.stop()
        if not self._spent:
            self._spent = True
            self._on_press()

    def _held(self) -> None:
        if not self._level():
            # the contact opened without a call: it has to settle first
            self.changed()
            self._holding.start(2 * STABLE_S, self._held)
            return
        self._spent = True
        self._on_long()
