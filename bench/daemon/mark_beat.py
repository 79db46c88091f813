"""Marks by a beat: on the low tone the sled is moved, on the high tone it stands still
and is read."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.status_message import StatusMessage
from bench.protocol import notice

READ_S = 0.8  # s from the high tone to the next low one


class MarkBeat:
    """tell: to all clients. beep: "low" or "high". press: as by hand."""

    def __init__(
        self,
        tell: Callable[[msgspec.Struct], None],
        beep: Callable[[str], None],
        press: Callable[[float], object],
    ) -> None:
        self._tell, self._beep, self._press = tell, beep, press
        self._period: float | None = None  # s; None where no beat was asked for
        self._turn = 0.0  # monotonic s of the next tone
        self._still = False  # the next tone is the high one

    def begin(self, period: float, now: float) -> None:
        self._period, self._turn, self._still = period, now + period, False

    def end(self) -> None:
        self._period = None

    def tick(self, run: CheckProcedure | None, now: float) -> None:
        if self._period is None or run is None or now < self._turn:
            return
        ask = run.ask
        if ask.phase != "mark" or ask.waiting:
            return
        if self._still:
            self._beep("high")
            self._tell(notice("beat", StatusMessage("beat-stand-still")))
            self._press(now)
        else:
            self._beep("low")
            self._tell(notice("beat", StatusMessage("beat-move", {"at": ask.at})))
        self._turn = now + (READ_S if self._still else self._period)
        self._still = not self._still
