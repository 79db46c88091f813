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
    "leaf": "Have a leaf of {leaf} ready, to slip under the tip.",
    "sled": "Describe the sled: where its pivot and its screw are.",
}
STAGE_HINTS: dict[str, str] = {
    "travel": "No travel scale? 0 skips it: the sled is then stopped at marks.",
    "leaf": "Another leaf? 8 has the settings: name its thickness there.",
}
ROWS_COLUMNS = 72  # within which a number is seen to belong to its name
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
    deaf = first_start.nothing_set_up(view) and not view.ports
    deaf = deaf and (learn is None or learn.what == "indicator")
    if deaf:
        yield "No cable is heard yet: plug the indicator in.", "act"
    if learn is not None:
        yield learn.words, "text" if deaf else "act"
    elif stage is not None:
        leaf = length_words(first_start.proof_leaf(view, guide), view.units)
        yield STAGE_REQUESTS[stage].format(leaf=leaf), "act"
    if deaf:
        yield "`sweepgauge demo` pretends a saw.", "faint"
    if first_start.nothing_set_up(view):
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
    """A row for each cable: name, number and unit, or why there is none. The one whose
    number stands large has a mark."""
    view, wide = v.view, min(wide, ROWS_COLUMNS)
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
        mark = v.glyphs.right_mark if one is view.shown and one.live else " "
        out.append(justify([(f" {mark} ", role), (shown, role)], right, wide))
    return out
