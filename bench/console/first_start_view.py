"""What the first start shows: what is asked, the cables with their numbers, what is
done."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.instrument_view import InstrumentView
from bench.console.navigation import Navigation
from bench.console.text import (
    Block,
    Line,
    Role,
    cut,
    fit,
    fit_height,
    justify,
    width,
    wrap_marked,
)
from bench.console.view_model import ViewModel
from bench.units import length_words

_ASKS: dict[first_start.Stage, str] = {
    "indicator": "Find the indicator: press its plunger.",
    "travel": (
        "Find the travel: push the sled AWAY from you. Without a scale skip this:"
        " the sled is stopped at marks."
    ),
    "leaf": "Prove unit and way: slip a leaf of {leaf} under the tip.",
    "sled": "Describe the sled: where its pivot and its screw are.",
}
_NAMES: dict[first_start.Stage, str] = {
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


def progress_line(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """One row: which thing of how many."""
    g = navigation.glyphs
    learn = state.learn
    stage: first_start.Stage | None = (
        learn.what if learn is not None else first_start.next_stage(state, navigation)
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
    if first_start.guided(state, navigation):
        count = f"{first_start.STAGES.index(stage) + 1} of {len(first_start.STAGES)} "
        return [justify(line, [(count, "faint")], wide)]
    return [fit(line, wide)]


def content(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    """What is asked, the cables with their numbers, and what is done already, as far as
    there is room."""
    learn = state.learn
    out = _request(state, navigation, wide - 2)
    if first_start.bare(state):
        out += _no_cable(state, wide - 2)
    if high - len(out) >= 4:
        out += _hint(state, navigation, wide)
    guided = first_start.guided(state, navigation)
    ticks = _ticks(state, navigation, wide) if guided else []
    spare = high - len(out)
    room = spare - (1 if spare > 2 else 0) - (len(ticks) + 1 if spare > 5 else 0)
    if room > 0 and (learn is None or learn.what != "leaf"):
        cables = _cables(state, wide)[:room]
        out += [*([[]] if spare > 2 and cables else []), *cables]
    if ticks and high - len(out) > len(ticks):
        out = [*fit_height(out, high - len(ticks)), *ticks]
    return out[:high]


def _request(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """What the daemon asks for, else what the guide would begin next."""
    g, learn = navigation.glyphs, state.learn
    if learn is not None:
        mark = f" {g.right_mark} " if learn.enter else "   "
        return wrap_marked(learn.words, wide, mark, "act")
    stage = first_start.next_stage(state, navigation)
    if stage is None:
        return []
    words = _ASKS[stage].format(leaf=length_words(navigation.leaf, state.units))
    return wrap_marked(words, wide, f" {g.right_mark} ", "act")


def _no_cable(state: ViewModel, wide: int) -> Block:
    """Nothing is set up: that no cable is heard, or what stands against the one that is
    looked for."""
    learn, out = state.learn, []
    if not state.ports and (learn is None or learn.what == "indicator"):
        plug = "No cable is heard yet: plug it in. `sweepgauge demo` pretends a saw."
        out += wrap_marked(plug, wide, "   ", "faint")
    one = _troubled(state)
    if one is not None:
        out += wrap_marked(f"{one.name}: {one.words}", wide, "   ", "faint")
    return out


def _hint(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """What else can be done about the thing that is asked for."""
    learn = state.learn
    if learn is None or learn.phase != "asking":
        return []
    if learn.what == "leaf" and wide >= 56:
        words = "Another leaf? 7 has the list of cables: name its thickness there."
    elif learn.what == "travel" and navigation.first_start:
        words = "No travel scale? 0 skips it: the sled is then stopped at marks."
    else:
        return []
    return [[], *wrap_marked(words, wide - 2, "   ", "faint")]


def _troubled(state: ViewModel) -> InstrumentView | None:
    """Where no cable is heard: the one whose words say what would do."""
    if any(one.live for one in state.ports.values()):
        return None
    for kind in ("denied", "busy", "unknown", "silent"):
        for one in state.ports.values():
            if one.state == kind:
                return one
    return None


def _cables(state: ViewModel, wide: int) -> Block:
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
    for stage in first_start.STAGES:
        is_done = first_start.done(state, navigation, stage)
        skipped = stage in navigation.skipped and not is_done
        sign = g.good if is_done else g.dash if skipped else g.none
        role: Role = "good" if is_done else "faint"
        line += [(f"{lead}{sign} ", role), (f"{stage} ", role)]
    return [fit(line, wide)] if width(line) <= wide + 1 else []
