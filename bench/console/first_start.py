"""The guide of the first start, from an unknown instrument to a described sled.

The numbers of all cables are live from the beginning; the daemon asks for the plunger
by itself. Each stage can be skipped, left and done again.
"""

from __future__ import annotations

from typing import Literal

from bench.console.action import Requester
from bench.console.instrument_view import InstrumentView
from bench.console.navigation import ListRow, Navigation
from bench.console.view_model import ViewModel
from bench.protocol import AnyNotification, Learn, PutUnits, SetupNotice
from bench.units import length_words, parse_length

Stage = Literal["indicator", "travel", "leaf", "sled"]
STAGES: tuple[Stage, ...] = ("indicator", "travel", "leaf", "sled")
_WORDS: dict[Stage, str] = {
    "indicator": "find it",
    "travel": "find it",
    "leaf": "prove it",
    "sled": "describe",
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


def follow(controller: Requester, message: AnyNotification) -> None:
    """What the daemon says takes the guide a step on: once a thing is kept, the next is
    asked for at once."""
    if not isinstance(message, SetupNotice):
        return
    navigation, state = controller.navigation, controller.state
    if message.phase == "asking" and bare(state):
        navigation.first_start = True
    if message.phase == "kept" and navigation.first_start and navigation.page == "work":
        go_on(controller)


def go_on(controller: Requester) -> None:
    """Take the next thing that lacks."""
    navigation = controller.navigation
    stage = next_stage(controller.state, navigation)
    if stage in ("indicator", "travel"):
        controller.send(Learn(stage))
    elif stage == "leaf":
        controller.send(Learn("leaf", leaf=navigation.leaf))
    elif stage == "sled":
        new_sled(controller)


def begin(controller: Requester) -> None:
    controller.navigation.first_start = True
    go_on(controller)


def skip(controller: Requester) -> None:
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


def leave(controller: Requester) -> None:
    """Out of the whole guide; the list of cables has it all again."""
    controller.navigation.first_start = False
    controller.navigation.skipped = frozenset(STAGES)
    if controller.state.learn is not None:
        controller.send(Learn(controller.state.learn.what, on=False))


def found(state: ViewModel) -> bool:
    """Something was seen, or a proof goes on: it can be asked for anew."""
    return state.learn is not None and state.learn.enter


def again(controller: Requester) -> None:
    """What was seen was not it: ask anew."""
    learn = controller.state.learn
    if learn is not None:
        controller.send(Learn(learn.what, leaf=learn.leaf))


def new_sled(controller: Requester) -> None:
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


# ---- the list of cables --------------------------------------------------------------


def cables(controller: Requester) -> list[ListRow]:
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


def _other_units(controller: Requester) -> None:
    controller.send(PutUnits("inch" if controller.state.units == "mm" else "mm"))


def typed(controller: Requester, text: str) -> None:
    """Another leaf for the proof. Raises UnitsError."""
    unit = "mm" if controller.state.units == "mm" else "in"
    controller.navigation.leaf = parse_length(
        f"{text} {unit}" if text[-1:].isdigit() else text
    )


def _learn(controller: Requester, what: Literal["indicator", "travel", "leaf"]):  # type: ignore[no-untyped-def]
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
