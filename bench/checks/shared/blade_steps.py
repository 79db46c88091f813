"""What is asked for where the blade is held against the slot: one spot, front and rear
by turns, or sweeps over the blade body at even turns. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Mapping

from bench.checks.model import EvidenceGear, Focus, Mount, Step
from bench.checks.options import OptionValue, given_number, number
from bench.checks.shared.blade_spots import SPOTS
from bench.checks.shared.turns import even_turns, turn_of
from bench.gear import LeftRight

ROUNDS = 3  # front, rear, front, rear, ...: either end is visited so often
AGAIN = "Lift the plunger and let it down again."
FRONT_AT, REAR_AT = 0.0, 160.0  # mm along the travel, unless said; common practice


def slot_side(options: Mapping[str, OptionValue]) -> LeftRight:
    """The slot's side: in the right slot the indicator stands on the right of the
    blade."""
    given = options.get("side") or options.get("slot") or "right"
    return "left" if given == "left" else "right"


def mount_of(options: Mapping[str, OptionValue]) -> Mount:
    return "standing" if options.get("mount") == "standing" else "carried"


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del gear
    side, mount = slot_side(options), mount_of(options)
    if (turns := given_number(options, "turns")) is not None:
        return tuple(swept_step(name, side, mount) for name in even_turns(int(turns)))
    front_at = number(options, "front_at", FRONT_AT)
    rear_at = number(options, "rear_at", REAR_AT)
    begin = (
        f"Indicator riding in the {side.upper()} slot, held against one wall. Mark a"
        " spot on the blade body below the gullets. Tip on that spot, at the FRONT."
    )
    rear = (
        "Lift the plunger. Turn the blade by hand: the spot to the REAR, equally high."
        " Slide the indicator there and let the plunger down."
    )
    again = (
        "Lift the plunger. Turn the spot back to the FRONT. Slide the indicator there"
        " anew and let the plunger down."
    )
    steps: list[Step] = []
    for visit in range(ROUNDS):
        for name, words, at in (
            ("front", again if visit else begin, front_at),
            ("rear", rear, rear_at),
        ):
            steps.append(
                Step(
                    name,
                    words,
                    "spot",
                    1,
                    side,
                    mount,
                    at,
                    "slot-blade",
                    AGAIN,
                    continues=bool(steps),
                    focus=Focus("end", side="front" if name == "front" else "rear"),
                )
            )
    return tuple(steps)


def swept_step(name: str, side: LeftRight, mount: Mount) -> Step:
    return Step(
        name,
        "Lift the plunger. Turn the blade by hand to"
        f" {name.removeprefix('turn-')} degrees. Indicator in the {side.upper()} slot,"
        " at the front of the blade body. It passes inside the gullets, as far before"
        " the arbor as behind.",
        "sweep",
        side=side,
        mount=mount,
        picture="slot-blade-turn",
        straight=False,  # a plate has a form of its own, which even turns take out
        pushed="indicator",
        focus=Focus("turn", math.radians(turn_of(name) or 0.0)),
    )


def accepts(
    placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> Step | None:
    if placement in SPOTS:
        spots = plan({**options, "turns": None}, gear)
        return next((s for s in spots if s.placement == placement), None)
    return (
        swept_step(placement, slot_side(options), mount_of(options))
        if turn_of(placement) is not None
        else None
    )
