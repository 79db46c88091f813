"""What clients are told of the check in progress: its prompt when it changes, and all
of it when one asks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.checks.model import Check, EvidenceGear
from bench.checks.options import OptionValue
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import Prompt
from bench.protocol import PromptChanged, RunState


def about_check(
    check: Check,
    gear: EvidenceGear,
    options: Mapping[str, OptionValue],
    verifies: str | None,
) -> dict[str, Any]:
    """What stays the same for a whole check, as the fields of a message."""
    return {
        "check": check.kind,
        "jig": gear.jig.name if gear.jig else None,
        "saw": gear.saw.name if gear.saw else None,
        "question": check.question,
        "verifies": verifies,
        "options": options,
    }


class PromptTelling:
    """about: see `about_check`. ask: the prompt as of now. tell: called with each
    message for clients."""

    def __init__(
        self,
        run_id: str,
        about: Mapping[str, Any],
        ask: Callable[[], Prompt],
        kept: AcceptedPasses,
        tell: Callable[[msgspec.Struct], None],
    ) -> None:
        self._id = run_id
        self._about = about
        self._ask = ask
        self._kept = kept
        self._tell = tell
        self._told: Prompt | None = None

    def tell(self, prompt: Prompt) -> None:
        if prompt != self._told:
            self._told = prompt
            self._tell(self.asking())

    def state(self) -> RunState:
        passes = list(self._kept.passes)
        return RunState(id=self._id, passes=passes, ask=self._ask(), **self._about)

    def asking(self, *, joined: bool = False, ref: int | None = None) -> PromptChanged:
        return PromptChanged(
            *(self._id, self._about["check"], self._about["jig"], self._ask()),
            joined=joined,
            ref=ref,
            **{k: v for k, v in self._about.items() if k not in ("check", "jig")},
        )
