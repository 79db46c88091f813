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
    """How far the person is led."""

    active: bool = False  # it goes from one stage to the next by itself
    skipped: frozenset[str] = frozenset()  # stages that are not wanted now
    leaf: float | None = None  # mm: the leaf of the proof, where one is named


# mm: leaves that sets of either unit have; common practice, no source
LEAVES: dict[System, float] = {"mm": 0.10, "inch": 0.1016}


def proof_leaf(view: ViewModel, guide: Guide) -> float:
    """mm: the leaf that the proof asks for."""
    return LEAVES[view.units] if guide.leaf is None else guide.leaf


def done(view: ViewModel, stage: Stage) -> bool:
    if stage == "leaf":
        return "leaf" in view.learned
    if stage == "sled":
        return view.gear is not None and bool(view.gear.jigs)
    return any(
        one.role == stage and one.state != "marks" for one in view.instruments.values()
    )


def bare(view: ViewModel) -> bool:
    """Nothing is set up that measures."""
    return all(one.state == "marks" for one in view.instruments.values())


def guided(view: ViewModel, guide: Guide) -> bool:
    """The guide goes on until there is a sled, also on another screen."""
    no_sled = view.gear is not None and not view.gear.jigs
    return guide.active or bare(view) or no_sled


def next_stage(view: ViewModel, guide: Guide) -> Stage | None:
    """What is asked for next; None where this is no first start, or no more."""
    known = view.here and view.status_known and view.gear is not None
    if not known or view.ask is not None or view.live is not None:
        return None
    if view.finding is not None or not guided(view, guide):
        return None
    lacking = (s for s in STAGES if s not in guide.skipped and not done(view, s))
    return next(lacking, None)


def stage_now(view: ViewModel, guide: Guide) -> Stage | None:
    """The stage that is under way, else the next one."""
    return view.learn.what if view.learn is not None else next_stage(view, guide)


def request_for(stage: Stage | None, view: ViewModel, guide: Guide) -> Learn | None:
    """What is asked of the daemon for a stage; the sled is described on a form."""
    if stage is None or stage == "sled":
        return None
    return Learn(stage, leaf=proof_leaf(view, guide) if stage == "leaf" else None)


def goes_on(view: ViewModel, guide: Guide, message: Message) -> bool:
    """Whether a message ends a stage, so that the next is asked for at once."""
    if not isinstance(message, SetupNotice):
        return False
    if message.phase == "asking" and bare(view):
        guide.active = True
    return message.phase == "kept" and guide.active


def can_skip(view: ViewModel, guide: Guide) -> bool:
    if view.learn is not None:
        return guide.active and view.learn.what != "indicator"
    stage = next_stage(view, guide)
    return stage is not None and stage != "indicator"


def found(view: ViewModel) -> bool:
    """Something was seen, or a proof goes on: it can be asked for anew."""
    return view.learn is not None and view.learn.enter
