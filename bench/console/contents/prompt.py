"""The contents of a check: its prompt, its set-up, the running pass, the notices."""

from __future__ import annotations

from bench.console.drawings.plot import plot
from bench.console.drawings.set_up import draw_set_up
from bench.console.drawings.styled_text import Block
from bench.console.host import LOW, TALL
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import Prompt
from bench.render.screen import screen_text

MOST_NOTICES = 3  # on a tall screen, one elsewhere


def prompt_words(v: Viewer) -> Sentences:
    """The prompt, after the reason for which the last pass was not kept."""
    prompt, low, bad = v.view.prompt, v.app.size.height < LOW, v.glyphs.bad
    if prompt is None or prompt.phase == "cautions":
        return
    if not v.view.online:
        yield "The check stands where it stood. It goes on with the daemon.", "act"
        return
    trouble = v.view.trouble
    if trouble:
        yield f"{bad} {trouble}", "bad"
    elif prompt.moving and prompt.gather == "sweep":  # what comes before a pass is done
        if not low:  # on a phone the line says more than the words
            yield screen_text("push-on"), "act"
        return
    if not low and prompt.phase == "place" and prompt.step <= 1:
        yield v.view.question, "faint"
    if prompt.remark:
        yield f"{bad} {prompt.remark}", "bad"
    yield prompt.words, "act"


def caution_words(v: Viewer) -> Sentences:
    """All at once, each marked; they are scrolled where they do not fit."""
    apart = "\n" if v.app.size.height >= TALL else ""
    for caution in v.view.current_prompt.cautions:
        yield f"{v.glyphs.bad} {caution}{apart}", "caution"


def set_up_picture(v: Viewer, wide: int, high: int) -> Block:
    """The set-up that is asked for, seen from above."""
    prompt, view = v.view.prompt, v.view
    if prompt is None:
        return []
    return draw_set_up(prompt, view.find_jig(), wide, high, v.glyphs, view.units)


def first_set_up(v: Viewer, wide: int, high: int, check: str) -> Block:
    """The set-up with which that check begins."""
    kind, view = v.view.kind(check), v.view
    if kind is None:
        return []
    prompt = Prompt(phase="place", picture=kind.picture, side=kind.side)
    return draw_set_up(prompt, view.find_jig(), wide, high, v.glyphs, view.units)


def pass_plot(v: Viewer, wide: int, high: int) -> Block:
    """The running pass over those that were kept."""
    view = v.view
    if view.current_prompt.phase == "place" and view.running_pass is None:
        return []  # another set-up: the passes before say nothing of it
    passes = view.placed_passes()
    return plot(view.running_pass, passes, wide, high, v.glyphs, view.units)


def notices(v: Viewer) -> Sentences:
    """The latest notices; bad news has its sign and its colour."""
    view, prompt = v.view, v.view.prompt
    shown = {prompt.remark, view.trouble} if prompt is not None else set()
    told = [one for one in view.notices if one.words not in shown]
    for one in told[-MOST_NOTICES if v.app.size.height >= TALL else -1 :]:
        sign = f"{v.glyphs.bad} " if one.bad else ""
        yield sign + one.words, "bad" if one.bad else "text"


def tip(v: Viewer) -> Sentences:
    """The line of whoever started the console, beside what is asked."""
    yield v.host.tip(), "unsure"
