"""Too close to call proposes no move: what would settle it is the first thing said, and nothing says to move anything."""

from __future__ import annotations

import msgspec
import pytest

from bench.finding import Finding, Move, Quantity, Settle, SweepRow
from bench.render.printed_result import result_lines
from bench.render.result import next_act

LIMIT = 0.05 / 300
SETTLES = [
    (Settle("between sweeps", sweeps=10), "10 passes in all would settle it."),
    (Settle("resolution", length=400.0), "A pass of 400 mm would settle it."),
    (
        Settle("resolution", resolution=0.001),
        "An indicator that reads to 0.001 mm would settle it.",
    ),
    (
        Settle("square"),
        "Too near the limit for this set-up. What limits it most: the square's own error.",
    ),
    (None, "What would settle it is not known; the notes say why."),
]


def finding(settle: Settle | None, verdict: str = "cannot-tell") -> Finding:
    return Finding(
        id="f",
        check="fence-square",
        jig="big-sled",
        quantities=[Quantity("fence", 0.00016, "rad", 2e-5, 9.0, LIMIT, verdict, "left end too near you")],  # type: ignore[arg-type]
        verdict=verdict,  # type: ignore[arg-type]
        settle=settle,
        sweeps=[SweepRow(p, True, 200, 0, 0.0, 1e-6) for p in ("handle-left", "handle-right") * 3],
        move=Move("left", "away", 0.077, 0.01, [], 0.077, "Move the left end away from you by 0.08 mm."),
    )


@pytest.mark.parametrize(("settle", "words"), SETTLES)
def test_printed_words_and_the_screens_act_say_what_would_settle_it(settle, words) -> None:
    found = finding(settle)
    lines = result_lines(found, "mm")
    assert lines[0] == f"Sled fence square of big-sled: too close to call. {words}"
    assert not any("Move " in line for line in lines)
    assert next_act(found, "mm") == words
    assert msgspec.json.decode(msgspec.json.encode(found))["move"]["distance"] == 0.077  # data, for scripts


def test_out_still_proposes_its_move() -> None:
    found = finding(None, "outside")
    assert "  Move the left end away from you by 0.08 mm." in result_lines(found, "mm")
    assert next_act(found, "mm").startswith("Move the left end")
