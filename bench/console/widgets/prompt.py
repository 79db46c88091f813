"""What a check asks, the set-up drawn, the pass as it is drawn, and what was said."""

from __future__ import annotations

from bench.console.host import LOW, TALL
from bench.console.plot import plot
from bench.console.set_up_drawing import draw_set_up
from bench.console.text import Block
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import Prompt
from bench.render.screen import told

MOST_NOTICES = 3  # on a tall screen, one elsewhere


def prompt_words(v: Viewer) -> Sentences:
    """What is asked, and why the last thing was not kept."""
    ask, low, bad = v.view.ask, v.app.size.height < LOW, v.glyphs.bad
    if ask is None or ask.phase == "cautions":
        return
    if not v.view.here:
        yield "The check stands where it stood. It goes on with the daemon.", "act"
        return
    trouble = v.view.trouble
    if trouble:
        yield f"{bad} {trouble}", "bad"
    elif ask.moving and ask.gather == "sweep":  # what comes before a pass is done
        if not low:  # on a phone the line says more than the words
            yield told("push-on"), "act"
        return
    if not low and ask.phase == "place" and ask.step <= 1:
        yield v.view.question, "faint"
    if ask.remark:
        yield f"{bad} {ask.remark}", "bad"
    yield ask.words, "act"


def caution_words(v: Viewer) -> Sentences:
    """All at once, each marked; they are scrolled where they do not fit."""
    ask = v.view.ask
    apart = "\n" if v.app.size.height >= TALL else ""
    for caution in ask.cautions if ask is not None else ():
        yield f"{v.glyphs.bad} {caution}{apart}", "caution"


def set_up_picture(v: Viewer, wide: int, high: int) -> Block:
    """The set-up that is asked for, seen from above."""
    ask, view = v.view.ask, v.view
    if ask is None:
        return []
    return draw_set_up(ask, view.jig_gear(), wide, high, v.glyphs, view.units)


def first_set_up(v: Viewer, wide: int, high: int, check: str) -> Block:
    """The set-up with which that check begins."""
    kind, view = v.view.kind(check), v.view
    if kind is None:
        return []
    ask = Prompt(phase="place", picture=kind.picture, side=kind.side)
    return draw_set_up(ask, view.jig_gear(), wide, high, v.glyphs, view.units)


def pass_plot(v: Viewer, wide: int, high: int) -> Block:
    """The running pass over those that were kept."""
    view = v.view
    if view.ask is not None and view.ask.phase == "place" and view.line is None:
        return []  # another set-up: the passes before say nothing of it
    passes = view.placed_passes()
    return plot(view.line, passes, wide, high, v.glyphs, view.units)


def notices(v: Viewer) -> Sentences:
    """What was said last; bad news has its sign and its colour."""
    view, ask = v.view, v.view.ask
    shown = {ask.remark, view.trouble} if ask is not None else set()
    told = [one for one in view.notices if one.words not in shown]
    for one in told[-MOST_NOTICES if v.app.size.height >= TALL else -1 :]:
        sign = f"{v.glyphs.bad} " if one.bad else ""
        yield sign + one.words, "bad" if one.bad else "text"


def tip(v: Viewer) -> Sentences:
    """The line of whoever started the console, beside what is asked."""
    yield v.host.tip(), "unsure"
