"""What a result says of itself does not contradict itself."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bench.finding import Finding, Settle
from bench.render.finding import settle_words
from bench.render.result import next_act


@pytest.mark.parametrize("words", [settle_words, next_act])
def test_passes_that_scatter_are_not_said_to_be_past_help_by_passes(words: Callable[..., str]) -> None:
    def of(part: str) -> str:
        return words(
            Finding(check="fence-square", quantities=[], verdict="cannot-tell", settle=Settle(part=part)),
            "mm",
        )

    assert (
        of("resolution") == "Too near the limit for this set-up. What limits it most: the indicator's steps."
    )
    # more of them than anybody takes would; what sets them apart is the thing to look for
    assert of("between sweeps").startswith("More than 12 passes a set-up would be needed")
