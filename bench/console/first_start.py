"""First start: the guide from a screen without an instrument to a sled that is
described; and its list of cables. Pure.

The numbers of all cables are live from the beginning; the daemon asks for the plunger
by itself. Each thing can be skipped, left and done again.
"""

from __future__ import annotations

from typing import Literal

from bench.console import readout
from bench.console.at_desk import AtDesk
from bench.console.heard import Heard
from bench.console.text import Block, Line, Role, cut, fit, marked, spread, width
from bench.console.view import Row, View
from bench.console.view_model import ViewModel
from bench.protocol import Learn, LearnSaid, PutUnits, Said
from bench.units import length_words, parse_length

LEAF = 0.10  # mm: the leaf that proves unit and way, where no other is named

Stage = Literal["indicator", "travel", "leaf", "sled"]
STAGES: tuple[Stage, ...] = ("indicator", "travel", "leaf", "sled")
_ASKS: dict[Stage, str] = {
    "indicator": "Find the indicator: press its plunger.",
    "travel": (
        "Find the travel: push the sled AWAY from you. Without a scale skip this:"
        " the sled is stopped at marks."
    ),
    "leaf": "Prove unit and way: slip a leaf of {leaf} under the tip.",
    "sled": "Describe the sled: where its pivot and its screw are.",
}
_WORDS: dict[Stage, str] = {
    "indicator": "find it",
    "travel": "find it",
    "leaf": "prove it",
    "sled": "describe",
}
_NAMES: dict[Stage, str] = {
    "indicator": "the indicator",
    "travel": "the travel",
    "leaf": "unit and way",
    "sled": "the sled",
}
_STATES = {
    "listening": "is listened to",
    "silent": "silent",
    "unknown": "not understood",
    "busy": "in use",
    "denied": "no permission",
    "away": "away",
}


# ---- where it stands -----------------------------------------------------------------


def has(state: ViewModel, role: str) -> bool:
    return any(
        one.role == role and one.state != "marks" for one in state.instruments.values()
    )


def done(state: ViewModel, view: View, stage: Stage) -> bool:
    if stage == "leaf":
        return "leaf" in state.learned
    if stage == "sled":
        return state.gear is not None and bool(state.gear.jigs)
    return has(state, stage)


def next_stage(state: ViewModel, view: View) -> Stage | None:
    """What is asked for next; None where this is no first start, or no more."""
    if (
        not (state.here and state.told_status)
        or state.ask is not None
        or state.live is not None
    ):
        return None
    if state.finding is not None or not guided(state, view):
        return None
    return next(
        (s for s in STAGES if s not in view.skipped and not done(state, view, s)), None
    )


def guided(state: ViewModel, view: View) -> bool:
    """The guide goes on until there is a sled, also on another screen."""
    return (
        view.first_start
        or bare(state)
        or (state.gear is not None and not state.gear.jigs)
    )


def bare(state: ViewModel) -> bool:
    """Nothing is set up that measures."""
    return all(one.state == "marks" for one in state.instruments.values())


def follow(desk: AtDesk, message: Said) -> None:
    """What the daemon says takes the guide a step on: once a thing is kept, the next is
    asked for at once."""
    if not isinstance(message, LearnSaid):
        return
    view, state = desk.view, desk.state
    if message.phase == "asking" and bare(state):
        view.first_start = True
    if message.phase == "kept" and view.first_start and view.page == "work":
        go_on(desk)


def go_on(desk: AtDesk) -> None:
    """Take the next thing that lacks."""
    view = desk.view
    stage = next_stage(desk.state, view)
    if stage in ("indicator", "travel"):
        desk.send(Learn(stage))
    elif stage == "leaf":
        desk.send(Learn("leaf", leaf=view.leaf))
    elif stage == "sled":
        new_sled(desk)


def begin(desk: AtDesk) -> None:
    desk.view.first_start = True
    go_on(desk)


def skip(desk: AtDesk) -> None:
    """Not now: the next thing is asked for instead."""
    view, state = desk.view, desk.state
    stage: Stage | None = (
        state.learn.what if state.learn is not None else next_stage(state, view)
    )
    if stage is None:
        return
    view.skipped = view.skipped | {stage}
    if state.learn is not None:
        desk.send(Learn(state.learn.what, on=False))
    if stage != "sled":
        go_on(desk)


def leave(desk: AtDesk) -> None:
    """Out of the whole guide; the list of cables has it all again."""
    desk.view.first_start = False
    desk.view.skipped = frozenset(STAGES)
    if desk.state.learn is not None:
        desk.send(Learn(desk.state.learn.what, on=False))


def found(state: ViewModel) -> bool:
    """Something was seen, or a proof goes on: it can be asked for anew."""
    return state.learn is not None and state.learn.enter


def again(desk: AtDesk) -> None:
    """What was seen was not it: ask anew."""
    learn = desk.state.learn
    if learn is not None:
        desk.send(Learn(learn.what, leaf=learn.leaf))


def new_sled(desk: AtDesk) -> None:
    gear, view = desk.state.gear, desk.view
    count = len(gear.jigs) + 1 if gear is not None else 1
    view.sled = {"name": f"sled-{count}", "fence": "near", "pivot": "right"}
    view.go("sled")


def press_word(state: ViewModel, view: View) -> str | None:
    """What Enter does here, in a word or two."""
    learn = state.learn
    if learn is not None:
        if learn.phase == "seen":
            return "keep it"
        return "it rests" if learn.step == 1 else "it is in"
    stage = next_stage(state, view)
    if (
        stage is None
        and state.finding is None
        and state.ask is None
        and state.live is None
        and bare(state)
    ):
        return "cables"
    return None if stage is None else _WORDS[stage]


def can_skip(state: ViewModel, view: View) -> bool:
    if state.learn is not None:
        return view.first_start and state.learn.what != "indicator"
    stage = next_stage(state, view)
    return stage is not None and stage != "indicator"


# ---- what is drawn -------------------------------------------------------------------


def where(state: ViewModel, view: View, wide: int) -> Block:
    """One row: which thing of how many."""
    g = view.glyphs
    learn = state.learn
    stage: Stage | None = learn.what if learn is not None else next_stage(state, view)
    assert stage is not None
    seen = learn is not None and learn.phase == "seen"
    sign, word, role = (
        (g.good, "SEEN", "good") if seen else (g.unsure, "FIND", "unsure")
    )
    if stage == "leaf":
        word = "PROVE"
    elif stage == "sled":
        word = "NEW"
    line: Line = [(f" {sign} {word} ", role), (_NAMES[stage], "strong")]  # type: ignore[list-item]
    if guided(state, view):
        count = f"{STAGES.index(stage) + 1} of {len(STAGES)} "
        return [spread(line, [(count, "faint")], wide)]
    return [fit(line, wide)]


def content(state: ViewModel, view: View, wide: int, high: int) -> Block:
    """What is asked, the cables with their numbers, and what is done already, as far as
    there is room."""
    g, learn = view.glyphs, state.learn
    if learn is not None:
        mark = f" {g.right_mark} " if learn.enter else "   "
        out = marked(learn.words, wide - 2, mark, "act")
    else:
        stage = next_stage(state, view)
        out = []
        if stage is not None:
            leaf = length_words(view.leaf, state.units)
            out = marked(
                _ASKS[stage].format(leaf=leaf), wide - 2, f" {g.right_mark} ", "act"
            )
    if bare(state) and not state.ports and (learn is None or learn.what == "indicator"):
        plug = "No cable is heard yet: plug it in. `sweepgauge demo` pretends a saw."
        out += marked(plug, wide - 2, "   ", "faint")
    troubled = _trouble(state)
    if troubled is not None and bare(state):
        out += marked(f"{troubled.name}: {troubled.words}", wide - 2, "   ", "faint")
    spare = high - len(out)
    ticks = _ticks(state, view, wide) if guided(state, view) else []
    if (
        learn is not None
        and learn.what == "leaf"
        and learn.phase == "asking"
        and wide >= 56
        and spare >= 4
    ):
        out += [
            [],
            *marked(
                "Another leaf? 7 has the list of cables: name its thickness there.",
                wide - 2,
                "   ",
                "faint",
            ),
        ]
    if (
        learn is not None
        and learn.what == "travel"
        and learn.phase == "asking"
        and view.first_start
        and spare >= 4
    ):
        none = "No travel scale? 0 skips it: the sled is then stopped at marks."
        out += [[], *marked(none, wide - 2, "   ", "faint")]
    spare = high - len(out)
    cables = (
        [] if learn is not None and learn.what == "leaf" else _cables(state, view, wide)
    )
    room = spare - (1 if spare > 2 else 0) - (len(ticks) + 1 if spare > 5 else 0)
    if cables and room > 0:
        out += [*([[]] if spare > 2 else []), *cables[:room]]
    if ticks and high - len(out) > len(ticks):
        out += [*([] for _ in range(high - len(out) - len(ticks))), *ticks]
    return out[:high]


def _trouble(state: ViewModel) -> Heard | None:
    """Where no cable is heard: the one whose words say what would do."""
    if any(one.live for one in state.ports.values()):
        return None
    for kind in ("denied", "busy", "unknown", "silent"):
        for one in state.ports.values():
            if one.state == kind:
                return one
    return None


def _cables(state: ViewModel, view: View, wide: int) -> Block:
    """A row for each: name, number and unit, or why there is none."""
    out: Block = []
    for heard in state.ports.values():
        role: Role = "text"
        if heard.state == "open" and heard.value is not None:
            text, unit = readout.number(heard, state.units)
            right: Line = [(f"{text} {unit} ", "strong")]
        else:
            right = [(_STATES.get(heard.state, heard.state) + " ", "faint")]
            role = "faint"
        room = max(8, wide - 4 - width(right))
        name = f"{heard.name}, {heard.grows}" if heard.grows else heard.name
        out.append(
            spread(
                [
                    ("   ", role),
                    (name if len(name) <= room else cut(heard.name, room), role),
                ],
                right,
                wide,
            )
        )
    return out


def _ticks(state: ViewModel, view: View, wide: int) -> Block:
    """What is done and what lacks, in one row."""
    g = view.glyphs
    lead = " " if wide >= 56 else ""
    line: Line = [(f" {lead}", "text")]
    for stage in STAGES:
        is_done = done(state, view, stage)
        skipped = stage in view.skipped and not is_done
        sign = g.good if is_done else g.dash if skipped else g.none
        role: Role = "good" if is_done else "faint"
        line += [(f"{lead}{sign} ", role), (f"{stage} ", role)]
    return [fit(line, wide)] if width(line) <= wide + 1 else []


# ---- the list of cables --------------------------------------------------------------


def cables(desk: AtDesk) -> list[Row]:
    """All that can be found and proved again."""
    view, state = desk.view, desk.state
    out = [
        Row(
            "Find the indicator: press its plunger",
            _learn(desk, "indicator"),
            more=_doing(state, "indicator"),
        ),
        Row(
            "Find the travel: push the sled",
            _learn(desk, "travel"),
            more=_doing(state, "travel"),
        ),
        Row(
            "Prove unit and way with the leaf",
            _learn(desk, "leaf"),
            more="It changes nothing that is good.",
        ),
        Row("That leaf is", field="proof", value=length_words(view.leaf, state.units)),
        Row(
            "Shown in",
            lambda: _other_units(desk),
            value="millimetres" if state.units == "mm" else "inches",
        ),
    ]
    return out


def _other_units(desk: AtDesk) -> None:
    desk.send(PutUnits("inch" if desk.state.units == "mm" else "mm"))


def typed(desk: AtDesk, text: str) -> None:
    """Another leaf for the proof. Raises UnitsError."""
    unit = "mm" if desk.state.units == "mm" else "in"
    desk.view.leaf = parse_length(f"{text} {unit}" if text[-1:].isdigit() else text)


def _learn(desk: AtDesk, what: Literal["indicator", "travel", "leaf"]):  # type: ignore[no-untyped-def]
    def take() -> None:
        desk.learn(Learn(what, leaf=desk.view.leaf if what == "leaf" else None))

    return take


def _doing(state: ViewModel, role: str) -> str:
    """How the instrument of that role does now: its words, its rate, what was refused
    of it."""
    heard: Heard | None = next(
        (one for one in state.instruments.values() if one.role == role), None
    )
    if heard is None:
        return "None is set up."
    if heard.state != "open":
        return heard.whose_words
    rate = f"{heard.rate:.0f} a second" if heard.rate else "at its button"
    return f"It reads: {rate}, {heard.rejects} rejected."


__all__ = [
    "STAGES",
    "again",
    "begin",
    "cables",
    "content",
    "follow",
    "leave",
    "next_stage",
    "skip",
    "where",
]
