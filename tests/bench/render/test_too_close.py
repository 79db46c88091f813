"""Too close to call proposes no move: what would settle it is the first thing said, and nothing says to move anything."""

from __future__ import annotations

import msgspec
import pytest

from bench.console.controller import ScreenController
from bench.console.message_folding import fold
from bench.console.navigation import Navigation
from bench.console.view_model import ViewModel
from bench.finding import Finding, Move, Quantity, Settle, SweepRow
from bench.protocol import Begin, Extend, Live, StatusReply
from bench.render.finding import finding_words
from bench.render.result import next_act

LIMIT = 0.05 / 300
SETTLES = [
    (Settle("between sweeps", sweeps=10), "10 passes in all would settle it.", "more"),
    (Settle("resolution", length=400.0), "A pass of 400 mm would settle it.", "again"),
    (
        Settle("resolution", resolution=0.001),
        "An indicator that reads to 0.001 mm would settle it.",
        "limits",
    ),
    (
        Settle("square"),
        "This set-up cannot settle it, however many passes. It hangs on: the square's own error.",
        "limits",
    ),
    (None, "What would settle it is not known; the notes say why.", "again"),
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


@pytest.mark.parametrize(("settle", "words", "act"), SETTLES)
def test_printed_words_and_the_screens_act_say_what_would_settle_it(settle, words, act) -> None:
    found = finding(settle)
    lines = finding_words(found, "mm")
    assert lines[0] == f"Fence square of big-sled: too close to call. {words}"
    assert not any("Move " in line for line in lines)
    assert next_act(found, "mm") == words
    assert msgspec.json.decode(msgspec.json.encode(found))["move"]["distance"] == 0.077  # data, for scripts


@pytest.mark.parametrize(("settle", "words", "act"), SETTLES)
def test_enter_never_leads_to_the_move(settle, words, act) -> None:
    sent: list[object] = []
    controller = ScreenController(
        ViewModel(lambda: 0.0), Navigation(), lambda message: bool(sent.append(message)) or True
    )
    controller.state.connected()
    fold(controller.state, StatusReply("sweepgauge", "", "recording", [], None, [finding(settle)]))
    press = next(a for a in controller.actions if a.name == "press")
    assert press.word(controller) == act
    for key in ("4", "5"):  # the move, live
        assert not controller.key(key)
    controller.key("enter")
    assert controller.navigation.page == ("limits" if act == "limits" else "work")
    assert [type(message) for message in sent] == {"more": [Extend], "again": [Begin], "limits": []}[act]
    assert not any(isinstance(message, Live) for message in sent)


def test_out_still_proposes_its_move() -> None:
    found = finding(None, "outside")
    assert "  Move the left end away from you by 0.08 mm." in finding_words(found, "mm")
    assert next_act(found, "mm").startswith("Move the left end")
