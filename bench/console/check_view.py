"""The middle of the screen while a check is in progress: the request, its drawing, the
line as it happens."""

from __future__ import annotations

import msgspec

from bench.console.glyphs import PLAIN, RICH
from bench.console.navigation import Navigation
from bench.console.plot import plot
from bench.console.set_up_drawing import draw_set_up
from bench.console.text import Block, fit_height, side_by_side, wrap, wrap_marked
from bench.console.view_model import ViewModel
from bench.protocol import Jig, Prompt

PICTURE = 34  # columns of the drawing on a screen of 80


def content(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    ask = state.ask
    assert ask is not None
    if ask.phase == "cautions":
        return _cautions(ask, navigation, wide, high)
    two = wide >= 56 and high >= 7
    left = wide - _picture_room(wide) - 1 if two else wide
    words = _words(state, navigation, left, high)
    rest = high - len(words)
    drawn = _drawing(state, navigation, _picture_room(wide), high) if two else []
    if two and not drawn:
        left = wide
        words = _words(state, navigation, left, high)
        rest = high - len(words)
    line = _line(state, navigation, left - 2, max(3, min(rest, max(9, high // 2))))
    if two:
        block = (
            [*words, *([] for _ in range(rest - len(line))), *line] if line else words
        )
        return side_by_side(fit_height(block, high), left, drawn) if drawn else block
    if ask.moving and line and rest < 5:
        # hands are busy: the line says more than the words
        return _line(state, navigation, wide - 2, high)
    if ask.moving and line:
        return [*words, *line]
    if navigation.picture and (whole := _drawing(state, navigation, wide - 2, high)):
        return whole
    below = _drawing(state, navigation, wide - 2, rest) if rest >= 7 else []
    return [*words, *(below or line)]


def _picture_room(wide: int) -> int:
    return 27 if wide < 76 else PICTURE if wide < 110 else 56 if wide < 150 else 90


def _words(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    """What is asked, and why the last thing was not kept. Short of room the question
    goes first."""
    ask, g = state.ask, navigation.glyphs
    assert ask is not None
    out: Block = []
    if ask.remark:
        out += wrap_marked(ask.remark, wide - 2, f" {g.bad} ", "bad")
    out += wrap_marked(
        ask.words, wide - 2, f" {g.right_mark} " if ask.ready else "   ", "act"
    )
    if state.question and high - len(out) > 7:
        out = [
            *(
                [(" ", "text"), *line]
                for line in wrap(state.question, wide - 3, "faint")
            ),
            *out,
        ]
    return out[:high]


def _cautions(ask: Prompt, navigation: Navigation, wide: int, high: int) -> Block:
    """All at once; where they do not fit they are scrolled, and Enter waits for the end
    of them."""
    out: Block = []
    for caution in ask.cautions:
        out += wrap_marked(caution, wide - 2, f" {navigation.glyphs.bad} ", "caution")
    navigation.scroll = max(0, min(navigation.scroll, len(out) + 1 - high))
    room = high - 1
    shown = out[navigation.scroll : navigation.scroll + room]
    left = len(out) - navigation.scroll - len(shown)
    foot = "Enter: it is so." if left <= 0 else f"{left} rows more: + reads on."
    return [*fit_height(shown, min(room, len(shown))), [(" " + foot, "act")]]


def cautions_read(
    state: ViewModel, navigation: Navigation, wide: int, high: int
) -> bool:
    """Whether the end of the cautions has been on the screen."""
    ask = state.ask
    if ask is None or ask.phase != "cautions":
        return True
    rows = sum(
        len(wrap_marked(c, wide - 2, f" {navigation.glyphs.bad} ", "caution"))
        for c in ask.cautions
    )
    return navigation.scroll + high - 1 >= rows


def _drawing(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    assert state.ask is not None
    key = _key(state.ask)
    return (
        list(_drawn(key, state.jig_gear(), wide, high, navigation.glyphs.braille))
        if high > 0
        else []
    )


def _key(ask: Prompt) -> Prompt:
    """Only what the drawing shows, so that it is drawn once."""
    return Prompt(
        phase="place",
        words="",
        placement=ask.placement,
        at=ask.at,
        lean=ask.lean,
        side=ask.side,
        mount=ask.mount,
        picture=ask.picture,
    )


_cache: dict[tuple[bytes, Jig | None, int, int, bool], Block] = {}


def _drawn(ask: Prompt, jig: Jig | None, wide: int, high: int, rich: bool) -> Block:
    key = (msgspec.json.encode(ask), jig, wide, high, rich)
    if key not in _cache:
        if len(_cache) > 32:
            _cache.clear()
        _cache[key] = draw_set_up(ask, jig, wide, high, RICH if rich else PLAIN)
    return _cache[key]


def _line(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    block = plot(
        state.line, state.placed_passes(), wide, high, navigation.glyphs, state.units
    )
    return [[(" ", "text"), *line] for line in block]
