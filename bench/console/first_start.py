"""First start: the guide from a screen without an instrument to a sled that is
described; and its list of cables. Pure.

The numbers of all cables are live from the beginning; the daemon asks for the plunger
by itself. Each thing can be skipped, left and done again.
"""

from __future__ import annotations

from typing import Literal

from bench.console import readout
from bench.console.action import Controller
from bench.console.instrument_view import InstrumentView
from bench.console.navigation import ListRow, Navigation
from bench.console.text import Block, Line, Role, cut, fit, justify, width, wrap_marked
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


def done(state: ViewModel, navigation: Navigation, stage: Stage) -> bool:
    if stage == "leaf":
        return "leaf" in state.learned
    if stage == "sled":
        return state.gear is not None and bool(state.gear.jigs)
    return has(state, stage)


def next_stage(state: ViewModel, navigation: Navigation) -> Stage | None:
    """What is asked for next; None where this is no first start, or no more."""
    if (
        not (state.here and state.status_known)
        or state.ask is not None
        or state.live is not None
    ):
        return None
    if state.finding is not None or not guided(state, navigation):
        return None
    return next(
        (
            s
            for s in STAGES
            if s not in navigation.skipped and not done(state, navigation, s)
        ),
        None,
    )


def guided(state: ViewModel, navigation: Navigation) -> bool:
    """The guide goes on until there is a sled, also on another screen."""
    return (
        navigation.first_start
        or bare(state)
        or (state.gear is not None and not state.gear.jigs)
    )


def bare(state: ViewModel) -> bool:
    """Nothing is set up that measures."""
    return all(one.state == "marks" for one in state.instruments.values())


def follow(controller: Controller, message: Said) -> None:
    """What the daemon says takes the guide a step on: once a thing is kept, the next is
    asked for at once."""
    if not isinstance(message, LearnSaid):
        return
    navigation, state = controller.navigation, controller.state
    if message.phase == "asking" and bare(state):
        navigation.first_start = True
    if message.phase == "kept" and navigation.first_start and navigation.page == "work":
        go_on(controller)


def go_on(controller: Controller) -> None:
    """Take the next thing that lacks."""
    navigation = controller.navigation
    stage = next_stage(controller.state, navigation)
    if stage in ("indicator", "travel"):
        controller.send(Learn(stage))
    elif stage == "leaf":
        controller.send(Learn("leaf", leaf=navigation.leaf))
    elif stage == "sled":
        new_sled(controller)


def begin(controller: Controller) -> None:
    controller.navigation.first_start = True
    go_on(controller)


def skip(controller: Controller) -> None:
    """Not now: the next thing is asked for instead."""
    navigation, state = controller.navigation, controller.state
    stage: Stage | None = (
        state.learn.what if state.learn is not None else next_stage(state, navigation)
    )
    if stage is None:
        return
    navigation.skipped = navigation.skipped | {stage}
    if state.learn is not None:
        controller.send(Learn(state.learn.what, on=False))
    if stage != "sled":
        go_on(controller)


def leave(controller: Controller) -> None:
    """Out of the whole guide; the list of cables has it all again."""
    controller.navigation.first_start = False
    controller.navigation.skipped = frozenset(STAGES)
    if controller.state.learn is not None:
        controller.send(Learn(controller.state.learn.what, on=False))


def found(state: ViewModel) -> bool:
    """Something was seen, or a proof goes on: it can be asked for anew."""
    return state.learn is not None and state.learn.enter


def again(controller: Controller) -> None:
    """What was seen was not it: ask anew."""
    learn = controller.state.learn
    if learn is not None:
        controller.send(Learn(learn.what, leaf=learn.leaf))


def new_sled(controller: Controller) -> None:
    gear, navigation = controller.state.gear, controller.navigation
    count = len(gear.jigs) + 1 if gear is not None else 1
    navigation.sled = {"name": f"sled-{count}", "fence": "near", "pivot": "right"}
    navigation.go("sled")


def press_word(state: ViewModel, navigation: Navigation) -> str | None:
    """What Enter does here, in a word or two."""
    learn = state.learn
    if learn is not None:
        if learn.phase == "seen":
            return "keep it"
        return "it rests" if learn.step == 1 else "it is in"
    stage = next_stage(state, navigation)
    if (
        stage is None
        and state.finding is None
        and state.ask is None
        and state.live is None
        and bare(state)
    ):
        return "cables"
    return None if stage is None else _WORDS[stage]


def can_skip(state: ViewModel, navigation: Navigation) -> bool:
    if state.learn is not None:
        return navigation.first_start and state.learn.what != "indicator"
    stage = next_stage(state, navigation)
    return stage is not None and stage != "indicator"


# ---- what is drawn -------------------------------------------------------------------


def where(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """One row: which thing of how many."""
    g = navigation.glyphs
    learn = state.learn
    stage: Stage | None = (
        learn.what if learn is not None else next_stage(state, navigation)
    )
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
    if guided(state, navigation):
        count = f"{STAGES.index(stage) + 1} of {len(STAGES)} "
        return [justify(line, [(count, "faint")], wide)]
    return [fit(line, wide)]


def content(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    """What is asked, the cables with their numbers, and what is done already, as far as
    there is room."""
    g, learn = navigation.glyphs, state.learn
    if learn is not None:
        mark = f" {g.right_mark} " if learn.enter else "   "
        out = wrap_marked(learn.words, wide - 2, mark, "act")
    else:
        stage = next_stage(state, navigation)
        out = []
        if stage is not None:
            leaf = length_words(navigation.leaf, state.units)
            out = wrap_marked(
                _ASKS[stage].format(leaf=leaf), wide - 2, f" {g.right_mark} ", "act"
            )
    if bare(state) and not state.ports and (learn is None or learn.what == "indicator"):
        plug = "No cable is heard yet: plug it in. `sweepgauge demo` pretends a saw."
        out += wrap_marked(plug, wide - 2, "   ", "faint")
    troubled = _trouble(state)
    if troubled is not None and bare(state):
        out += wrap_marked(
            f"{troubled.name}: {troubled.words}", wide - 2, "   ", "faint"
        )
    spare = high - len(out)
    ticks = _ticks(state, navigation, wide) if guided(state, navigation) else []
    if (
        learn is not None
        and learn.what == "leaf"
        and learn.phase == "asking"
        and wide >= 56
        and spare >= 4
    ):
        out += [
            [],
            *wrap_marked(
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
        and navigation.first_start
        and spare >= 4
    ):
        none = "No travel scale? 0 skips it: the sled is then stopped at marks."
        out += [[], *wrap_marked(none, wide - 2, "   ", "faint")]
    spare = high - len(out)
    cables = (
        []
        if learn is not None and learn.what == "leaf"
        else _cables(state, navigation, wide)
    )
    room = spare - (1 if spare > 2 else 0) - (len(ticks) + 1 if spare > 5 else 0)
    if cables and room > 0:
        out += [*([[]] if spare > 2 else []), *cables[:room]]
    if ticks and high - len(out) > len(ticks):
        out += [*([] for _ in range(high - len(out) - len(ticks))), *ticks]
    return out[:high]


def _trouble(state: ViewModel) -> InstrumentView | None:
    """Where no cable is heard: the one whose words say what would do."""
    if any(one.live for one in state.ports.values()):
        return None
    for kind in ("denied", "busy", "unknown", "silent"):
        for one in state.ports.values():
            if one.state == kind:
                return one
    return None


def _cables(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """A row for each: name, number and unit, or why there is none."""
    out: Block = []
    for instrument in state.ports.values():
        role: Role = "text"
        if instrument.state == "open" and instrument.value is not None:
            text, unit = readout.number(instrument, state.units)
            right: Line = [(f"{text} {unit} ", "strong")]
        else:
            right = [(_STATES.get(instrument.state, instrument.state) + " ", "faint")]
            role = "faint"
        room = max(8, wide - 4 - width(right))
        name = (
            f"{instrument.name}, {instrument.grows}"
            if instrument.grows
            else instrument.name
        )
        out.append(
            justify(
                [
                    ("   ", role),
                    (name if len(name) <= room else cut(instrument.name, room), role),
                ],
                right,
                wide,
            )
        )
    return out


def _ticks(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """What is done and what lacks, in one row."""
    g = navigation.glyphs
    lead = " " if wide >= 56 else ""
    line: Line = [(f" {lead}", "text")]
    for stage in STAGES:
        is_done = done(state, navigation, stage)
        skipped = stage in navigation.skipped and not is_done
        sign = g.good if is_done else g.dash if skipped else g.none
        role: Role = "good" if is_done else "faint"
        line += [(f"{lead}{sign} ", role), (f"{stage} ", role)]
    return [fit(line, wide)] if width(line) <= wide + 1 else []


# ---- the list of cables --------------------------------------------------------------


def cables(controller: Controller) -> list[ListRow]:
    """All that can be found and proved again."""
    navigation, state = controller.navigation, controller.state
    out = [
        ListRow(
            "Find the indicator: press its plunger",
            _learn(controller, "indicator"),
            more=_doing(state, "indicator"),
        ),
        ListRow(
            "Find the travel: push the sled",
            _learn(controller, "travel"),
            more=_doing(state, "travel"),
        ),
        ListRow(
            "Prove unit and way with the leaf",
            _learn(controller, "leaf"),
            more="It changes nothing that is good.",
        ),
        ListRow(
            "That leaf is",
            field="proof",
            value=length_words(navigation.leaf, state.units),
        ),
        ListRow(
            "Shown in",
            lambda: _other_units(controller),
            value="millimetres" if state.units == "mm" else "inches",
        ),
    ]
    return out


def _other_units(controller: Controller) -> None:
    controller.send(PutUnits("inch" if controller.state.units == "mm" else "mm"))


def typed(controller: Controller, text: str) -> None:
    """Another leaf for the proof. Raises UnitsError."""
    unit = "mm" if controller.state.units == "mm" else "in"
    controller.navigation.leaf = parse_length(
        f"{text} {unit}" if text[-1:].isdigit() else text
    )


def _learn(controller: Controller, what: Literal["indicator", "travel", "leaf"]):  # type: ignore[no-untyped-def]
    def take() -> None:
        controller.learn(
            Learn(what, leaf=controller.navigation.leaf if what == "leaf" else None)
        )

    return take


def _doing(state: ViewModel, role: str) -> str:
    """How the instrument of that role does now: its words, its rate, what was refused
    of it."""
    instrument: InstrumentView | None = next(
        (one for one in state.instruments.values() if one.role == role), None
    )
    if instrument is None:
        return "None is set up."
    if instrument.state != "open":
        return instrument.named_words
    rate = f"{instrument.rate:.0f} a second" if instrument.rate else "at its button"
    return f"It reads: {rate}, {instrument.rejects} rejected."


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
