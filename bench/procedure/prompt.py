"""What the check in progress wants next, worked out from what has happened so far;
pure.

`ask(check, steps, facts)` is the one source of guidance: command line, screen and the
operator of the virtual bench all read the same `Ask`. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.checks.model import Caution, Gather, Mount, Step
from bench.gear import LeftRight

Phase = Literal[
    "cautions",
    "place",
    "lean",
    "tap",
    "sweep",
    "mark",
    "spot",
    "width",
    "working-out",
    "done",
]


class Facts(msgspec.Struct):
    """What has happened in a check so far, folded from its events."""

    acknowledged: bool = False
    # the present placement stands; forgotten on purpose when the daemon restarts
    placed: bool = False
    step: int = 0  # index of the present step
    kept: list[int] = []  # repeats kept per step (pushes, spots or widths)
    # both instruments were seen, the sled at rest, since it was placed
    rested: bool = False
    lean_wanted: bool = False
    leaned: list[int] = []  # steps whose lean test was passed or waived
    lean_next: LeftRight | None = None  # which lean is to be read next
    tap_wanted: bool = False
    # the present placement's stand was tapped, and the number came back
    tapped: bool = False
    tap_rest: bool = False  # the number at rest, before the tap, was taken
    marks: tuple[float, ...] = ()  # empty: swept with a travel instrument
    marks_taken: int = 0  # of the present push
    buttons: tuple[str, ...] = ()  # instruments that send only at their own button
    extra: int = 0  # pushes per placement added by an extension
    waiting: bool = False  # a press was taken; waiting for the reading to hold still
    moving: bool = False  # a sweep is under way
    worked_out: bool = False
    remark: str | None = None  # why the last thing was not kept


class Ask(msgspec.Struct, frozen=True):
    """One request to the person at the saw. `enter`: it waits for Enter or the pedal."""

    phase: Phase
    words: str
    enter: bool = False
    ready: bool = False  # what the sled does now counts
    placement: str | None = None
    gather: Gather | None = None
    step: int = 0  # counted from 1
    steps: int = 0
    taken: int = 0  # in this placement
    wanted: int = 0
    at: float | None = None  # the mark or place to stand at, mm
    mark: int | None = None  # which mark of how many
    marks: int | None = None
    lean: LeftRight | None = None
    side: LeftRight | None = None
    mount: Mount | None = None
    picture: str | None = None
    cautions: list[str] = []
    moving: bool = False
    waiting: bool = False
    remark: str | None = None


def wanted(step: Step, facts: Facts) -> int:
    return step.repeat + facts.extra


def advance(steps: Sequence[Step], facts: Facts) -> bool:
    """Move on to the first step that still lacks something; True when the step has
    changed.

    A new step means a new placement, so what was placed no longer stands.
    """
    while len(facts.kept) < len(steps):
        facts.kept.append(0)
    for index, step in enumerate(steps):
        if facts.kept[index] < wanted(step, facts):
            break
    else:
        index = len(steps)
    if index == facts.step:
        return False
    before, facts.step = facts.step, index
    same = (
        0 <= before < len(steps)
        and index < len(steps)
        and steps[before].placement == steps[index].placement
    )
    if not same:  # the next station of the same set-up needs no new one
        facts.placed = facts.rested = False
    facts.marks_taken = 0
    facts.waiting = False
    facts.lean_next = None
    return True


def ask(cautions: Sequence[Caution], steps: Sequence[Step], facts: Facts) -> Ask:
    if cautions and not facts.acknowledged:
        return Ask(
            phase="cautions",
            words="Read these, then press Enter.",
            enter=True,
            steps=len(steps),
            cautions=[c.words for c in cautions],
        )
    if facts.worked_out:
        return Ask(phase="done", words="Done.", steps=len(steps), step=len(steps))
    if facts.step >= len(steps):
        return Ask(
            phase="working-out",
            words="Working it out.",
            steps=len(steps),
            step=len(steps),
        )
    return _within(steps[facts.step], steps, facts)


def _within(step: Step, steps: Sequence[Step], facts: Facts) -> Ask:
    taken = facts.kept[facts.step] if facts.step < len(facts.kept) else 0
    base = Ask(
        phase="place",
        words=step.words,
        enter=True,
        placement=step.placement,
        gather=step.gather,
        step=facts.step + 1,
        steps=len(steps),
        taken=taken,
        wanted=wanted(step, facts),
        at=step.at,
        side=step.side,
        mount=step.mount,
        picture=step.picture,
        moving=facts.moving,
        waiting=facts.waiting,
        remark=facts.remark,
    )
    replace = msgspec.structs.replace
    if not facts.placed:
        return base
    # before the lean test: a sled that is let go after it would move the number too
    if facts.tap_wanted and step.gather == "sweep" and not facts.tapped:
        if not facts.tap_rest:
            words = "Hands off everything: the number at rest is being taken."
            return replace(base, phase="tap", words=words, enter=False)
        words = (
            "Tap the indicator's post lightly with a finger, twice: the number must"
            " come back. Press Enter when it stands still."
        )
        return replace(base, phase="tap", words=words)
    # without a side there is nothing to prove
    proves = step.gather == "sweep" and step.side is not None
    if facts.lean_wanted and proves and facts.step not in facts.leaned:
        side = facts.lean_next or "left"
        words = (
            f"Lean the sled to the {side} within its play, hold it there, press Enter."
        )
        return replace(base, phase="lean", words=words, lean=side)
    if step.gather == "sweep" and facts.marks:
        number = facts.marks_taken + 1
        place = facts.marks[facts.marks_taken]
        words = (
            f"Push to the mark at {place:g} mm, stop, press"
            f" {_taken_by('indicator', facts)}, hold still."
        )
        if number == 1 and taken and step.reseat:
            words = f"Draw back. {step.reseat} {words}"
        elif number == 1 and taken:
            words = f"Draw back. {words}"
        return replace(
            base,
            phase="mark",
            words=words,
            at=place,
            mark=number,
            marks=len(facts.marks),
            ready=True,
        )
    if step.gather == "sweep" and not facts.rested:
        words = "Leave the sled at rest a moment, until the instruments are heard."
        return replace(base, phase="sweep", words=words, enter=False)
    if step.gather == "sweep":
        words = "Push the sled, evenly, right through; stop; draw back."
        if taken and step.reseat:
            words = f"{step.reseat} {words}"
        return replace(base, phase="sweep", words=words, enter=False, ready=True)
    phase: Phase = "spot" if step.gather == "spot" else "width"
    press = _taken_by("caliper" if step.gather == "width" else "indicator", facts)
    words = f"{step.words} Press {press} when it stands still."
    if taken:  # the set-up was told with the first
        words = (
            f"{step.reseat or 'Let go, then the same again.'} Press {press} when it"
            " stands still."
        )
    return replace(base, phase=phase, ready=True, words=words)


def _taken_by(instrument: str, facts: Facts) -> str:
    """What is pressed to take a number that stands still."""
    return f"the {instrument}'s own button" if instrument in facts.buttons else "Enter"
