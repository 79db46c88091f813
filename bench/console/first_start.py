"""The guide of the first start, from an unknown instrument to a described sled.

The numbers of all cables are live from the beginning; the daemon asks for the plunger
by itself. Each stage can be skipped, left and done again.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.console.view_model import ViewModel
from bench.protocol import Learn, Message, SetupNotice
from bench.units import System

Stage = Literal["indicator", "travel", "leaf", "sled"]
STAGES: tuple[Stage, ...] = ("indicator", "travel", "leaf", "sled")


class Guide(msgspec.Struct):
    """The state of the guide."""

    active: bool = False  # it goes from one stage to the next by itself
    skipped: frozenset[str] = frozenset()  # stages that are not wanted now
    leaf: float | None = None  # mm: the leaf of the proof, where one is named


# mm: leaves that sets of either unit have; common practice, no source
LEAVES: dict[System, float] = {"mm": 0.10, "inch": 0.1016}


def proof_leaf(view: ViewModel, guide: Guide) -> float:
    """mm: the leaf that the proof asks for."""
    return LEAVES[view.units] if guide.leaf is None else guide.leaf


def is_done(view: ViewModel, stage: Stage) -> bool:
    if stage == "leaf":
        return "leaf" in view.finished_setups
    if stage == "sled":
        return view.gear is not None and bool(view.gear.jigs)
    return any(
        one.role == stage and one.state != "marks" for one in view.instruments.values()
    )


def nothing_set_up(view: ViewModel) -> bool:
    """Nothing is set up that measures."""
    return all(one.state == "marks" for one in view.instruments.values())


def is_guided(view: ViewModel, guide: Guide) -> bool:
    """The guide goes on until there is a sled, also on another screen."""
    no_sled = view.gear is not None and not view.gear.jigs
    return guide.active or nothing_set_up(view) or no_sled


def next_stage(view: ViewModel, guide: Guide) -> Stage | None:
    """The next stage; None where this is no first start, or no more."""
    known = view.online and view.status_known and view.gear is not None
    if not known or view.prompt is not None or view.live is not None:
        return None
    if view.finding is not None or not is_guided(view, guide):
        return None
    lacking = (s for s in STAGES if s not in guide.skipped and not is_done(view, s))
    return next(lacking, None)


def stage_now(view: ViewModel, guide: Guide) -> Stage | None:
    """The stage that is under way, else the next one."""
    return view.setup.what if view.setup is not None else next_stage(view, guide)


def request_for(stage: Stage | None, view: ViewModel, guide: Guide) -> Learn | None:
    """The request that begins a stage; None for the sled, which is described on a
    form."""
    if stage is None or stage == "sled":
        return None
    return Learn(stage, leaf=proof_leaf(view, guide) if stage == "leaf" else None)


def ends_stage(view: ViewModel, guide: Guide, message: Message) -> bool:
    """True for a message that ends a stage, so that the next is asked for at once."""
    if not isinstance(message, SetupNotice):
        return False
    if message.phase == "asking" and nothing_set_up(view):
        guide.active = True
    return message.phase == "kept" and guide.active


def can_skip(view: ViewModel, guide: Guide) -> bool:
    if view.setup is not None:
        return guide.active and view.setup.what != "indicator"
    stage = next_stage(view, guide)
    return stage is not None and stage != "indicator"


def can_repeat(view: ViewModel) -> bool:
    """Something was seen, or a proof goes on: it can be asked for anew."""
    return view.setup is not None and view.setup.enter
