"""The first start: what is asked for, the cables with their numbers, what is done."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.drawings.styled_text import Block, Line, Role, cut, justify, width
from bench.console.instrument_view import InstrumentView
from bench.console.widgets.viewer import Sentences, Viewer
from bench.units import length_words

STAGE_REQUESTS: dict[first_start.Stage, str] = {
    "indicator": "Find the indicator: press its plunger.",
    "travel": "Find the travel: push the sled away from you.",
    "leaf": "Prove unit and direction: slip a leaf of {leaf} under the tip.",
    "sled": "Describe the sled: where its pivot and its screw are.",
}
STAGE_HINTS: dict[str, str] = {
    "travel": "No travel scale? 0 skips it: the sled is then stopped at marks.",
    "leaf": "Another leaf? 8 has the settings: name its thickness there.",
}
CABLE_STATES = {
    "listening": "is listened to",
    "silent": "silent",
    "unknown": "not understood",
    "busy": "in use",
    "denied": "no permission",
    "away": "away",
}


def request_words(v: Viewer) -> Sentences:
    """The request of the first start, and its alternatives."""
    view, guide, learn = v.view, v.host.guide, v.view.setup
    stage = first_start.stage_now(view, guide)
    if learn is not None:
        yield learn.words, "act"
    elif stage is not None:
        leaf = length_words(first_start.proof_leaf(view, guide), view.units)
        yield STAGE_REQUESTS[stage].format(leaf=leaf), "act"
    if first_start.nothing_set_up(view):
        if not view.ports and (learn is None or learn.what == "indicator"):
            yield "No cable is heard yet: plug it in.", "faint"
            yield "`sweepgauge demo` pretends a saw.", "faint"
        one = _troubled(list(view.ports.values()))
        if one is not None:
            yield f"{one.name}: {one.words}", "faint"
    if stage in STAGE_HINTS and (learn is None or learn.phase == "asking"):
        yield STAGE_HINTS[stage], "faint"


def _troubled(ports: list[InstrumentView]) -> InstrumentView | None:
    """The cable whose words say what would help; None where one is heard."""
    if any(one.live for one in ports):
        return None
    kinds = ("denied", "busy", "unknown", "silent")
    return next((one for kind in kinds for one in ports if one.state == kind), None)


def cable_rows(v: Viewer, wide: int, high: int) -> Block:
    """A row for each cable: name, number and unit, or why there is none."""
    view = v.view
    if view.setup is not None and view.setup.what == "leaf":
        return []
    out: Block = []
    for one in view.ports.values():
        role: Role = "text" if one.live else "faint"
        right: Line = [(CABLE_STATES.get(one.state, one.state) + " ", "faint")]
        if one.live:
            right = [(" ".join(readout.number(one, view.units)) + " ", "strong")]
        name = one.name + (f", {one.grows}" if one.grows else "")
        room = max(8, wide - 4 - width(right))
        shown = name if len(name) <= room else cut(one.name, room)
        out.append(justify([("   ", role), (shown, role)], right, wide))
    return out
