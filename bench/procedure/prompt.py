"""The prompt of the check in progress: what it asks of the person next, worked out from
its state. Pure.

`ask(cautions, steps, facts)` is the one source of guidance: command line, screen and
the operator of the virtual saw all read the same `Prompt`. Its sentences are made in
`bench.render.prompts`. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import msgspec

from bench.checks.model import Caution, Focus, Gather, Mount, Step, TravelDirection
from bench.gear import LeftRight
from bench.procedure.status_message import StatusMessage

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


# fields of a prompt that are its step's
OF_STEP = (
    *("placement", "gather", "at", "side", "mount", "picture", "reseat", "focus"),
    *("pushed", "runs"),
)


class ProcedureState(msgspec.Struct):
    """The state of a check so far, folded from its events."""

    acknowledged: bool = False
    # the present placement stands; forgotten on purpose when the daemon restarts
    placed: bool = False
    step: int = 0  # index of the present step
    accepted: list[int] = []  # repeats kept per step (pushes, spots or widths)
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
    settled_at: str | None = None  # the placement whose last push is not needed
    waiting: bool = False  # waiting for the reading to hold still
    # a spot or width was taken, from which the next is told when it comes back
    number_known: bool = False
    moving: bool = False  # a sweep is under way
    remark: StatusMessage | None = None  # why the last thing was not kept

    @property
    def taken(self) -> int:
        """Repeats kept of the present step."""
        return self.accepted[self.step] if self.step < len(self.accepted) else 0


class Prompt(msgspec.Struct, frozen=True):
    """One request to the person at the saw. `enter`: it waits for Enter or the pedal.

    words, remark: made from the other fields and from `because` by `bench.render` just
    before the message leaves the daemon.
    """

    phase: Phase
    words: str = ""
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
    because: StatusMessage | None = None  # why the last thing was not kept
    set_up: str = ""  # how the check declares the set-up
    reseat: str | None = None  # what to do again before each repeat
    button: str | None = None  # the instrument whose own button takes the number
    # the number is taken without Enter, once it came back and holds
    by_itself: bool = False
    # all in which this set-up differs from the one before: drawn largest. focus_words:
    # `135 degrees`, `150 mm`, `to the left`, made by `bench.render`
    focus: Focus | None = None
    focus_words: str = ""
    pushed: Literal["sled", "indicator"] = "sled"  # what moves in a pass
    runs: TravelDirection = "away"  # which way the travel grows, seen by whoever pushes


def wanted(step: Step, facts: ProcedureState) -> int:
    return step.repeat + facts.extra - (step.placement == facts.settled_at)


def advance(steps: Sequence[Step], facts: ProcedureState) -> None:
    """Move on to the first step that still lacks something.

    A new step means a new placement, so what was placed no longer stands.
    """
    facts.accepted += [0] * (len(steps) - len(facts.accepted))
    pairs = enumerate(zip(facts.accepted, steps, strict=True))
    lacking = (index for index, (kept, step) in pairs if kept < wanted(step, facts))
    index = next(lacking, len(steps))
    if index == facts.step:
        return
    there = [steps[i].placement for i in (facts.step, index) if 0 <= i < len(steps)]
    facts.step = index
    same = len(there) == 2 and there[0] == there[1]
    if not same:  # the next station of the same set-up needs no new one
        facts.placed = facts.rested = False
    facts.marks_taken = 0
    facts.waiting = False
    facts.lean_next = None


def ask(
    cautions: Sequence[Caution], steps: Sequence[Step], facts: ProcedureState
) -> Prompt:
    count = len(steps)
    if cautions and not facts.acknowledged:
        texts = [c.words for c in cautions]
        return Prompt(phase="cautions", enter=True, steps=count, cautions=texts)
    if facts.step >= count:
        return Prompt(phase="working-out", steps=count, step=count)
    step = steps[facts.step]
    instrument = "caliper" if step.gather == "width" else "indicator"
    base = Prompt(
        phase="place",
        enter=True,
        step=facts.step + 1,
        steps=count,
        taken=facts.taken,
        wanted=wanted(step, facts),
        moving=facts.moving,
        waiting=facts.waiting,
        because=facts.remark,
        set_up=step.words,
        button=instrument if instrument in facts.buttons else None,
        by_itself=_by_itself(steps, facts),
        **{name: getattr(step, name) for name in OF_STEP},
    )
    return msgspec.structs.replace(base, **_phase(step, facts))


def follows_on(steps: Sequence[Step], facts: ProcedureState) -> bool:
    """Whether the present step goes on from the one before it, which was just taken:
    nothing is set up anew."""
    index = facts.step
    if index == 0 or not facts.accepted[index - 1]:
        return False
    step, before = steps[index], steps[index - 1]
    return step.continues or step.placement == before.placement


def _by_itself(steps: Sequence[Step], facts: ProcedureState) -> bool:
    """Whether the number is taken when it holds still, without Enter."""
    step = steps[facts.step]
    if step.gather == "sweep":
        return False
    if facts.waiting:
        return True
    known = facts.taken > 0 or follows_on(steps, facts)
    return step.away is not None and known and facts.number_known


def _phase(step: Step, facts: ProcedureState) -> dict[str, Any]:
    """The fields of the present step's `Prompt` that its phase sets."""
    if not facts.placed:
        return {}
    if step.gather != "sweep":
        return {"phase": step.gather, "ready": True}
    # before the lean test: a sled that is let go after it would move the number too
    if facts.tap_wanted and not facts.tapped:
        return {"phase": "tap", "enter": facts.tap_rest}
    if facts.lean_wanted and step.leans and facts.step not in facts.leaned:
        return {"phase": "lean", "lean": facts.lean_next or "left"}
    if not facts.marks:
        return {"phase": "sweep", "enter": False, "ready": facts.rested}
    return {
        "phase": "mark",
        "at": facts.marks[facts.marks_taken],
        "mark": facts.marks_taken + 1,
        "marks": len(facts.marks),
        "ready": True,
    }
