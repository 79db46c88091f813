"""How messages about passes change what the screen draws of them."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.instrument_view import PassView
from bench.console.view_model import ViewModel
from bench.protocol import FittedPass, MarkNotice, PassNotice, Points

PASSES = 24  # passes of a check that are kept to be drawn


def fold_points(state: ViewModel, message: Points) -> frozenset[str]:
    if state.line is None or state.line.sweep != message.sweep:
        placement = state.ask.placement if state.ask is not None else None
        state.line = PassView(message.sweep, placement or "")
    state.line.add(message.travel, message.reading)
    return frozenset({"line"})


def fold_sweep(state: ViewModel, message: PassNotice) -> Iterable[str]:
    if message.state == "running":
        state.line = PassView(message.sweep, message.placement)
    elif message.state in ("kept", "measured", "back"):
        _end_pass(state, message)
    else:
        state.notices.over("pass", bad=False)  # that it was kept
        state.line = None if message.state == "refused" else state.line
        state.passes = [p for p in state.passes if p.sweep != message.sweep]
    if message.words and message.state != "running":
        bad = message.state == "refused" or not message.recorded
        state.say("pass", message.words, bad=bad)
    return ("line", "notice", "ask")


def _end_pass(state: ViewModel, message: PassNotice) -> None:
    """The running pass becomes one of those that are kept to be drawn."""
    line = state.line
    if line is None or line.sweep != message.sweep:
        line = PassView(message.sweep, message.placement)
    # measured and kept are drawn alike
    line.state = "kept" if message.state == "measured" else message.state
    line.push, line.slope = message.push, message.slope
    others = [p for p in state.passes if p.sweep != line.sweep]
    state.passes = [*others, line][-PASSES:]
    state.line = None


def fold_fitted(state: ViewModel, message: FittedPass) -> Iterable[str]:
    state.passes = [
        PassView.of(message) if p.sweep == message.sweep else p for p in state.passes
    ]
    return ("line",)


def fold_mark(state: ViewModel, message: MarkNotice) -> Iterable[str]:
    if message.at is not None:
        if state.line is None or message.number == 1:
            state.line = PassView("marks", message.placement)
        state.line.add([message.at], [message.value])
    state.say("mark", f"Mark {message.number} of {message.of}: {message.words}")
    return ("line", "notice")
