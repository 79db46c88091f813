"""All actions of the user, with their keys, their words and their help.

The row of keys, the list of all keys and the key handling read this table.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.console import first_start
from bench.console.action import Action, Controller
from bench.console.result_drawing import has_drawing

SHOWN = {
    "enter": "Enter",
    "space": "Space",
    "full_stop": ".",
    "asterisk": "*",
    "slash": "/",
    "minus": "-",
    "plus": "+",
    "escape": "Esc",
    "up": "Up",
    "down": "Down",
    "left": "Left",
    "right": "Right",
    "question_mark": "?",
}


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


def _press_word(controller: Controller) -> str:
    state = controller.state
    if controller.navigation.sure is not None:
        return "yes"
    if controller.scrolls:
        return "read on"
    if state.live is not None and state.live.phase == "go" and not state.live.there:
        return "tighten"
    if state.live is not None:
        return _LIVE.get(state.live.phase, "it stands")
    here = first_start.press_word(state, controller.navigation)
    if here is not None:
        return here
    if state.ask is not None:
        return _PRESS.get(state.ask.phase, "go on")
    return "begin" if state.finding is None else controller.enter_act


def _tightens(controller: Controller) -> bool:
    live = controller.state.live
    return live is not None and live.phase == "tighten"


def _undo_word(controller: Controller) -> str:
    if _tightens(controller):
        return "slack off"
    if not _running(controller):
        return "skip"
    return "undo" if controller.navigation.wide < 56 else "undo pass"


def _word(text: str) -> Callable[[Controller], str]:
    return lambda controller: text


def _at_rest(controller: Controller) -> bool:
    return (
        controller.state.here
        and controller.state.ask is None
        and controller.state.live is None
    )


def _running(controller: Controller) -> bool:
    return controller.state.here and controller.state.ask is not None


def _has_move(controller: Controller) -> bool:
    finding = controller.state.finding
    return _at_rest(controller) and finding is not None and finding.proposed is not None


def _can_live(controller: Controller) -> bool:
    """A mitre fence stands across the live indicator's way."""
    finding = controller.state.finding
    move = finding.proposed if finding is not None else None
    return _has_move(controller) and move is not None and move.fence is None


def _has_drawing(controller: Controller) -> bool:
    if _running(controller):
        return controller.navigation.wide < 56
    finding = controller.state.finding
    return _at_rest(controller) and finding is not None and has_drawing(finding)


ACTIONS: tuple[Action, ...] = (
    Action(
        "press",
        ("enter", "space"),
        _press_word,
        "Answer what is asked: it stands, take it, it is so; at rest, do the next act.",
        lambda d: d.press(),
        lambda d: d.navigation.sure is not None or (d.state.here and d.enter_answers),
    ),
    Action(
        "undo",
        ("0", "u"),
        _undo_word,
        "Take back the last mark or pass; live, slack the screw off again; at"
        " first start: skip this.",
        lambda d: d.undo(),
        lambda d: (
            _tightens(d)
            or (_running(d) and d.can_undo_pass)
            or first_start.can_skip(d.state, d.navigation)
        ),
    ),
    Action(
        "check",
        ("1", "c"),
        _word("check"),
        "Choose a check and begin it.",
        lambda d: d.navigation.go("checks"),
        _at_rest,
    ),
    Action(
        "again",
        ("2", "a"),
        _word("again"),
        "The same check again, judged as the proof of a move where one was made.",
        lambda d: d.again(),
        lambda d: (
            _at_rest(d) and (d.state.finding is not None or first_start.found(d.state))
        ),
    ),
    Action(
        "move",
        ("4", "m"),
        _word("move"),
        "What to move: end, way, distance, leaves and where they go.",
        lambda d: d.navigation.go("move"),
        _has_move,
    ),
    Action(
        "live",
        ("5", "v"),
        lambda d: "end live" if d.state.live is not None else "live",
        "Make the move with the remaining distance live, or leave it.",
        lambda d: d.live(),
        lambda d: _can_live(d) or d.state.live is not None,
        sure=lambda d: d.state.live is not None,
    ),
    Action(
        "picture",
        ("8", "d"),
        lambda d: "words" if d.navigation.picture else "drawing",
        "Drawing or words, where the screen is too small for both.",
        lambda d: d.turn_picture(),
        _has_drawing,
    ),
    Action(
        "more",
        ("plus",),
        lambda d: "read on" if d.scrolls else "more",
        "Read on; or, too close to call: the pushes that lack.",
        lambda d: d.more(),
        lambda d: d.scrolls or d.can_settle,
    ),
    Action(
        "limits",
        ("3", "l"),
        _word("limits"),
        "What limits the result, ranked.",
        lambda d: d.navigation.go("limits"),
        lambda d: _at_rest(d) and d.state.finding is not None,
    ),
    Action(
        "give-up",
        ("9", "x"),
        _word("give up"),
        "Give up the check (what was measured stays in the log), or the cables.",
        lambda d: d.give_up(),
        lambda d: _running(d) or d.state.learn is not None,
        sure=lambda d: True,
    ),
    Action(
        "past",
        ("6", "p"),
        _word("past"),
        "Past results of this sled.",
        lambda d: d.past(),
        lambda d: d.state.here,
    ),
    Action(
        "sleds",
        ("7", "s"),
        _word("sleds"),
        "Sleds: choose or describe one; find the cables.",
        lambda d: d.navigation.go("sleds"),
        lambda d: _at_rest(d) or d.state.learn is not None,
    ),
    Action(
        "home",
        ("full_stop", "escape"),
        _word("back"),
        "Back to where you came from.",
        lambda d: d.navigation.back(),
        lambda d: d.navigation.page != "work",
    ),
    Action(
        "look",
        ("asterisk", "t"),
        _word("look"),
        "Another look: colour, without colour, for the Pi's own screen.",
        lambda d: d.next_theme(),
    ),
    Action(
        "keys",
        ("slash", "question_mark", "f1"),
        _word("all keys"),
        "Every key and what it does.",
        lambda d: d.navigation.go("keys"),
        lambda d: d.navigation.page != "keys",
    ),
    Action(
        "leave",
        ("minus", "q", "ctrl+q"),
        _word("leave"),
        "Leave the screen; a check in progress goes on in the daemon.",
        lambda d: d.leave(),
        sure=lambda d: True,
    ),
)


FURTHER = Action(
    "further",
    ("plus",),
    _word("further"),
    "The list goes on: further down, and round to its beginning.",
    lambda d: d.further(),
    lambda d: d.list_overflows,
)


def find(key: str, actions: tuple[Action, ...]) -> Action | None:
    return next((action for action in actions if key in action.keys), None)
