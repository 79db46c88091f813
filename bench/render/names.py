"""The names of quantities, budget rows, set-ups and checks for a person; code and JSON
keep theirs."""

from __future__ import annotations

import re

QUANTITIES = {
    "fence": "sled fence",
    "square": "square",
    "board": "sled fence by the board",
    "blade": "blade",
    "rip-fence": "rip fence",
    "toe": "rip fence against the blade",
    "total": "wobble in all",
    "tilt": "wobble by tilt",
    "warp": "wobble by warp",
    "phase": "high spot",
    "minimum-zone": "out of straight",
    "least-squares": "out of straight, from the mean line",
    "bow": "bow",
    "side-play": "side play",
    "yaw-play": "twist in the slots",
    "relief": "to take off the runner",
    "slot-curvature": "slot's curve",
    "between": "angle between the fences",
    "left": "left fence",
    "right": "right fence",
    "fence-lean": "lean of the sled fence",
    "blade-lean": "lean of the blade",
}
BUDGET_PARTS = {
    "between sweeps": "passes that differ",
    "within the sweep": "scatter within a pass",
    "seat": "how the square is seated",
    "hold against the walls": "how the sled is held",
    "contact away from the teeth": "touching away from the teeth",
    "resolution": "the indicator's steps",
    "indicator over the span used": "the indicator's own error",
    "reading age": "readings that come late",
    "travel scale": "the travel scale",
    "plunger tilt": "a plunger that stands askew",
    "square": "the square's own error",
    "closure": "passes that did not come back",
    "sled rolling": "a sled that rolls",
    "form of the arm": "the form of the square's arm",
    "form of the long edge": "the form of the square's long edge",
    "blade": "the blade's own direction",
    "touches": "touches that differ",
    "arbor end float": "float of the arbor",
    "plate tilt": "tilt of the plate",
    "plate warp": "warp of the plate",
    "pairs of turns that differ": "warp of the plate, or grit",
    "turns not even": "turns that are not even",
    "scatter of the readings": "readings that differ",
    "turning by hand": "turns by hand that differ",
    "unread part of the turn": "the part of the turn not read",
    "scatter of the leans": "leans that differ",
    "scatter of the cuts": "cuts that differ",
    "straightedge": "the straightedge",
    "form averaged away": "fine bumps of the face",
    "bow that no width shows": "a bow that no width shows",
    "inside against outside jaws": "the caliper's inside against its outside jaws",
    "spacing": "the spacing as measured",
    "widths as read": "widths as read",
    "width repeatability": "widths that differ",
    "carriage float": "where a slid indicator comes to rest",
    "edge of the strip": "the strip's sawn edge",
    "length between widths": "the length between the widths",
    "play": "play in the slots",
    "between set-ups": "set-ups that differ",
    "form between the marks": "what lies between the marks",
    "stretches that differ": "passes over different stretches",
    "form that repeats": "bumps that repeat in every pass",
    "lever of the twist": "where the sled was twisted",
    "place of the spots": "the places of the spots",
    "right angle of the square": "the square's right angle",
    "stand along the arm": "where the stand touched the arm",
    "straightedge that bends": "a straightedge that bends",
}
# what lessens a part, where that is in the hands of whoever measures
LESSENS = {
    "between sweeps": "More passes lessen it: lift and seat before each.",
    "seat": "Press the square home alike each time, and take more passes.",
    "hold against the walls": "Hold the sled against one wall, as in every cut.",
    "resolution": "An indicator with finer steps lessens it.",
    "indicator over the span used": "Only a better indicator lessens it.",
    "plunger tilt": "Set the plunger square to what it touches.",
    "square": "Turn the square over: a check of both set-ups takes it out.",
    "touches": "More touches lessen it.",
    "turning by hand": "Turn the blade once more round.",
    "scatter of the readings": "Once more round lessens it.",
    "scatter of the leans": "Press the sled alike each time, and more often.",
    "scatter of the cuts": "A second board, cut and turned, lessens it.",
    "widths as read": "Measure each width more often, or with finer jaws.",
    "between set-ups": "Each further whole check shows how far set-ups differ.",
    "straightedge that bends": "Say how thick and how high the straightedge is.",
}
# kinds of check whose name in code leaves out whose fence, or which slot and blade
CHECKS = {
    "fence-square": "sled fence square",
    "fence-straight": "sled fence straight",
    "slot-blade": "blade and slot",
    "mitre-square": "mitre fences",
}
PLACEMENTS = {
    "-": "this set-up",
    "as-is": "the first set-up",
    "pressed": "the pressed set-up",
    "rolled-over": "the rolled set-up",
}
_TURN = re.compile(r"turn-(-?[0-9.]+)")


def spaced(name: str) -> str:
    """`handle-left` -> `handle left`, `fence-square` -> `sled fence square`."""
    return CHECKS.get(name) or name.replace("-", " ").replace("_", " ").strip()


def upper_first(text: str) -> str:
    return text[:1].upper() + text[1:]


def quantity_name(name: str) -> str:
    return QUANTITIES.get(name) or spaced(name)


def part_name(part: str) -> str:
    return BUDGET_PARTS.get(part, part)


def placement_name(placement: str) -> str:
    """A set-up as it stands behind `at`: `handle left`, `45 degrees`, `this set-up`."""
    if placement in PLACEMENTS:
        return PLACEMENTS[placement]
    turn = _TURN.fullmatch(placement)
    if turn is not None:
        return f"{float(turn[1]) % 360:g} degrees"
    return spaced(placement)
