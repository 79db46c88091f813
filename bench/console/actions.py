"""Everything the user can do, once: key on the number pad, other keys, word in the key
row, whole sentence.

The key row, the list of all keys and the key handling all read this table.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.console import first_start
from bench.console.at_desk import Action, AtDesk
from bench.console.shapes import has_shape

SHOWN = {
    "enter": "Enter", "space": "Space", "full_stop": ".", "asterisk": "*", "slash": "/", "minus": "-", "plus": "+",
    "escape": "Esc", "up": "Up", "down": "Down", "left": "Left", "right": "Right", "question_mark": "?",
}  # fmt: skip


def shown(key: str) -> str:
    return SHOWN.get(key, key.upper() if len(key) == 1 else key)


_PRESS = {
    "cautions": "it is so",
    "place": "it stands",
    "lean": "leaned",
    "tap": "tapped",
    "mark": "take it",
    "spot": "take it",
    "width": "take it",
}


_LIVE: dict[str, str] = {
    "stand": "it stands",
    "lean": "leaned",
    "go": "there",
    "tighten": "tight",
    "end": "done",
}


def _press_word(desk: AtDesk) -> str:
    state = desk.state
    if desk.view.sure is not None:
        return "yes"
    if desk.scrolls:
        return "read on"
    if state.live is not None and state.live.phase == "go" and not state.live.there:
        return "tighten"
    if state.live is not None:
        return _LIVE.get(state.live.phase, "it stands")
    here = first_start.press_word(state, desk.view)
    if here is not None:
        return here
    if state.ask is not None:
        return _PRESS.get(state.ask.phase, "go on")
    return "begin" if state.finding is None else desk.act


def _tightens(desk: AtDesk) -> bool:
    live = desk.state.live
    return live is not None and live.phase == "tighten"


def _undo_word(desk: AtDesk) -> str:
    if _tightens(desk):
        return "slack off"
    if not _running(desk):
        return "skip"
    return "undo" if desk.view.wide < 56 else "undo pass"


def _word(text: str) -> Callable[[AtDesk], str]:
    return lambda desk: text


def _at_rest(desk: AtDesk) -> bool:
    return desk.state.here and desk.state.ask is None and desk.state.live is None


def _running(desk: AtDesk) -> bool:
    return desk.state.here and desk.state.ask is not None


def _has_move(desk: AtDesk) -> bool:
    finding = desk.state.finding
    return _at_rest(desk) and finding is not None and finding.proposed is not None


def _has_drawing(desk: AtDesk) -> bool:
    if _running(desk):
        return desk.view.wide < 56
    finding = desk.state.finding
    return _at_rest(desk) and finding is not None and has_shape(finding)


ACTIONS: tuple[Action, ...] = (
    Action(
        "press", ("enter", "space"), _press_word,
        "Answer what is asked: it stands, take it, it is so; at rest, do the next act.",
        lambda d: d.press(), lambda d: d.view.sure is not None or (d.state.here and d.wants_press),
    ),
    Action(
        "undo", ("0", "u"), _undo_word,
        "Take back the last mark or pass; live, slack the screw off again; at first start: skip this.",
        lambda d: d.undo(), lambda d: _tightens(d) or (_running(d) and d.has_kept) or first_start.can_skip(d.state, d.view),
    ),
    Action(
        "check", ("1", "c"), _word("check"), "Choose a check and begin it.",
        lambda d: d.view.go("checks"), _at_rest,
    ),
    Action(
        "again", ("2", "a"), _word("again"), "The same check again, judged as the proof of a move where one was made.",
        lambda d: d.again(), lambda d: _at_rest(d) and (d.state.finding is not None or first_start.found(d.state)),
    ),
    Action(
        "move", ("4", "m"), _word("move"), "What to move: end, way, distance, leaves and where they go.",
        lambda d: d.view.go("move"), _has_move,
    ),
    Action(
        "live", ("5", "v"), lambda d: "end live" if d.state.live is not None else "live",
        "Make the move with the remaining distance live, or leave it.",
        lambda d: d.live(), lambda d: _has_move(d) or d.state.live is not None,
        sure=lambda d: d.state.live is not None,
    ),
    Action(
        "picture", ("8", "d"), lambda d: "words" if d.view.picture else "drawing",
        "Drawing or words, where the screen is too small for both.",
        lambda d: d.turn_picture(), _has_drawing,
    ),
    Action(
        "more", ("plus",), lambda d: "read on" if d.scrolls else "more",
        "Read on; or, too close to call: the pushes that lack.",
        lambda d: d.more(), lambda d: d.scrolls or d.unsettled,
    ),
    Action(
        "limits", ("3", "l"), _word("limits"), "What limits the result, ranked.",
        lambda d: d.view.go("limits"), lambda d: _at_rest(d) and d.state.finding is not None,
    ),
    Action(
        "give-up", ("9", "x"), _word("give up"), "Give up the check (what was measured stays in the log), or the cables.",
        lambda d: d.give_up(), lambda d: _running(d) or d.state.learn is not None, sure=lambda d: True,
    ),
    Action(
        "past", ("6", "p"), _word("past"), "Past results of this sled.",
        lambda d: d.past(), lambda d: d.state.here,
    ),
    Action(
        "sleds", ("7", "s"), _word("sleds"), "Sleds: choose or describe one; find the cables.",
        lambda d: d.view.go("sleds"), lambda d: _at_rest(d) or d.state.learn is not None,
    ),
    Action(
        "home", ("full_stop", "escape"), _word("back"), "Back to where you came from.",
        lambda d: d.view.back(), lambda d: d.view.page != "work",
    ),
    Action(
        "look", ("asterisk", "t"), _word("look"), "Another look: colour, without colour, for the Pi's own screen.",
        lambda d: d.turn_look(),
    ),
    Action(
        "keys", ("slash", "question_mark", "f1"), _word("all keys"), "Every key and what it does.",
        lambda d: d.view.go("keys"), lambda d: d.view.page != "keys",
    ),
    Action(
        "leave", ("minus", "q", "ctrl+q"), _word("leave"), "Leave the screen; a check in progress goes on in the daemon.",
        lambda d: d.leave(), sure=lambda d: True,
    ),
)  # fmt: skip


FURTHER = Action(
    "further", ("plus",), _word("further"), "The list goes on: further down, and round to its beginning.",
    lambda d: d.further(), lambda d: d.goes_on,
)  # fmt: skip


def find(key: str, actions: tuple[Action, ...]) -> Action | None:
    return next((action for action in actions if key in action.keys), None)
