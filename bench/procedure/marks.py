"""The marks of a pass that is not whole yet: taken one after the other, and taken back
one by one.

Holds no port and no socket.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import StatusMessage
from bench.protocol import MarkNotice
from bench.stream.rest_detector import Taken
from bench.stream.sweep_detector import Sweep


class Marks:
    """Counts them in `facts`, writes each down as an event, and tells it. The last one
    of a pass makes it whole."""

    def __init__(
        self,
        facts: ProcedureState,
        kept: AcceptedPasses,
        event: Callable[[str, Mapping[str, Any]], None],
        tell: Callable[[msgspec.Struct], None],
    ) -> None:
        self._facts = facts
        self._kept = kept
        self._event = event
        self._tell = tell
        # travel and reading in mm, s
        self._values: list[tuple[float, float, float]] = []

    def take(self, current: Prompt, taken: Taken) -> None:
        assert current.at is not None and current.placement is not None
        self._kept.begin()
        del self._values[self._facts.marks_taken :]  # of another set-up
        self._values.append((current.at, taken.value, taken.at))
        number, of = len(self._values), len(self._facts.marks)
        self._facts.marks_taken = number % of
        self._event(
            "mark",
            {
                "placement": current.placement,
                "at": current.at,
                "value": taken.value,
                "spread": taken.spread,
            },
        )
        remark = StatusMessage("mark-taken", {"value": taken.value, "at": current.at})
        self._tell(
            MarkNotice(
                *(current.placement, current.at, number, of, taken.value),
                remarks=[remark],
            )
        )
        if number == of:
            travel, reading, at = (
                list(column) for column in zip(*self._values, strict=True)
            )
            self._kept.keep(Sweep(at[0], at[-1], True, travel, reading, at))

    def take_back(self) -> StatusMessage:
        """The last one taken, of at least one; says so."""
        self._facts.marks_taken -= 1
        at, value, _ = self._values[self._facts.marks_taken]
        self._event(
            "mark-undone", {"placement": self._kept.placement, "at": at, "value": value}
        )
        if not self._facts.marks_taken:
            self._kept.drop(StatusMessage("marks-undone"))
        return StatusMessage("mark-undone", {"at": at})
