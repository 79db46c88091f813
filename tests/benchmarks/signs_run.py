"""No wrong way: many pretend checks with every slip there is a name for: `python tests/benchmarks/signs_run.py`.

Every check is taken on the pretend saw with one slip of hands, words or settings (or none), worked out by the road
of `evaluate`, and its move is made on the truth: did the fence end further out than it was? Of the wrong ways it is
counted whether the answer was called too close to call, whether something that does not fit was remarked on, whether
only the standing remark was there (the side was taken as said, not proved), or nothing at all. Then the same
with the lean test taken before each set-up, as the daemon asks for it, and by its rule.

`--checks N` (2,000), `--first SEED`, `--swept` (whole pushes at 120 readings/s; else nine marks, which is quicker).
One JSON line a slip, one for all.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from dataclasses import dataclass, field
from random import Random

from recording import Recorder

from bench.checks.fence_square import plan
from bench.checks.model import Evidence, EvidenceGear, LeanTest, PriorKnowledge, SquareHistory, Trace
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Square
from bench.procedure.conclusion import conclude
from bench.procedure.set_up_tests import proved_side
from hw.virtual.motion import Pose
from hw.virtual.saw import VirtualSaw
from hw.virtual.traits import Traits

BOTH = ("handle-left", "handle-right")
PUSHES = 3
MARKS = tuple(25.0 * k for k in range(1, 10))  # mm
COUNT = 0.001  # mm
INCH = 25.4
SLIPS = (
    "none",
    "not turned over, told as turned",
    "wrong side in the second set-up",
    "wrong side in both",
    "set-ups named the wrong way round",
    "reading grows the other way",
    "travel grows the other way",
    "inches taken as mm, readings",
    "inches taken as mm, travel",
    "inches taken as mm, second set-up",
    "stand bumped in a push",
    "zero pressed in a push",
    "one push not seated",
    "second set-up not seated",
    "square dropped between",
    "sled knocked between",
    "stand creeps",
    "begun off the tip",
    "one short push",
    "loose sled",
    "leaned left, then right",
    "much dust",
    "a single push",
    "one set-up, square known",
    "one set-up, history of another square",
    "one set-up, nothing known",
)
STANDING = {
    "yaw-unknown",
    "handle-stretch",
    "side-as-said",
    "square-as-measured",
    "square-as-told",
    "square-unknown",
    "one-pass",
    "lean-with-play",
    "lean-without-play",
}  # remarks that say nothing of this check in particular


@dataclass
class Tally:
    checks: int = 0
    refused: int = 0  # a message and no finding
    stopped: int = 0  # by the lean test
    wrong_way: int = 0
    too_close: int = 0  # of those: called too close to call
    remarked: int = 0  # of those: something that does not fit is said
    standing: int = 0  # of those: only that the side is taken as said
    nothing: int = 0  # of those: not a word
    false_good: int = 0  # inside was said, twice the tolerance out
    false_good_remarked: int = 0
    confident_wrong: int = 0  # the truth outside the interval by more than its width again, no remark
    notes: Counter[str] = field(default_factory=Counter)


class Checker:
    """One check by hand: the saw of a seed, a slip, the traces as they would be written down."""

    def __init__(self, seed: int, slip: str, *, swept: bool, leaning: bool) -> None:
        self.slip, self.swept, self.leaning = slip, swept, leaning
        self.chance = Random(f"slip {seed} {slip}")
        traits = Traits()
        if slip == "loose sled":
            traits = Traits(yaw_play=6e-4, hold_yaw=2e-4, hold_side=0.03)
        elif slip == "much dust":
            traits = Traits(dust=6.0)
        self.saw = VirtualSaw.draw(seed, traits, fence="far" if seed % 4 == 3 else "near")
        self.recorder = Recorder(self.saw, resolution=COUNT)
        self.turn = -1.0 if slip == "reading grows the other way" else 1.0
        self.stopped = False
        self.leans: list[LeanTest] = []
        self.truth = self.saw.truth()["rotation"]

    def traces(self, jig: Jig) -> list[Trace]:
        only = self.slip.startswith("one set-up")
        taken = (self.chance.choice(BOTH),) if only else BOTH
        steps = {s.placement: s for s in plan({}, EvidenceGear(jig=jig))}
        out: list[Trace] = []
        for number, placement in enumerate(taken):
            self._set_up(placement, second=number == 1)
            if self.leaning and not self._lean(placement, steps[placement]):
                self.stopped = True
                return []
            odd = self.chance.randrange(PUSHES)
            pushes = 1 if self.slip == "a single push" else PUSHES
            for n in range(pushes):
                self._seat(n == odd, second=number == 1)
                out.extend(self._out_and_back(placement, f"{placement}-{n}", n == odd, second=number == 1))
            if self.slip == "square dropped between":
                self.saw.square_error += self.chance.choice((-1, 1)) * self.chance.uniform(2e-4, 6e-4)
            if self.slip == "sled knocked between":
                self.saw.fence_angle += self.chance.choice((-1, 1)) * self.chance.uniform(2e-4, 6e-4)
        self.truth = self.saw.truth()["rotation"]
        return out

    def _set_up(self, placement: str, *, second: bool) -> None:
        wrong = self.slip == "wrong side in both" or (
            self.slip == "wrong side in the second set-up" and second
        )
        if wrong:
            self.saw.slip("wrong-side")
        elif self.slip == "not turned over, told as turned" and second:
            self.saw.slip("not-turned")
        elif self.slip == "begun off the tip":
            self.saw.slip("near-tip")
        if self.slip == "set-ups named the wrong way round":
            placement = BOTH[1 - BOTH.index(placement)]
        self.saw.place(placement)

    def _lean(self, placement: str, step: object) -> bool:
        x = [self.saw.hold(lean=way) for way in ("left", "right")]
        read = [self.turn * self.saw.depth(Pose(0.0, *hold)) for hold in x]
        lean = LeanTest(placement, read[0], read[1])
        self.leans.append(lean)
        return proved_side(lean, step, COUNT) in (None, step.side)  # type: ignore[arg-type, attr-defined]

    def _seat(self, odd: bool, *, second: bool) -> None:
        self.saw.seat()
        bad = (self.slip == "one push not seated" and odd) or (
            self.slip == "second set-up not seated" and second
        )
        if bad:
            self.saw.seat_angle += self.chance.choice((-1, 1)) * self.chance.uniform(2e-4, 8e-4)
        self.saw.lower()

    def _out_and_back(self, placement: str, sweep: str, odd: bool, *, second: bool) -> list[Trace]:
        length = 60.0 if self.slip == "one short push" and odd else 220.0
        hold = self.saw.hold()
        if self.slip == "leaned left, then right":
            hold = self.saw.hold(twist="left" if not second else "right")
        traces = []
        for push in (True, False):
            travel, reading = self._sweep(push, length, hold)
            where = 80.0 + 80.0 * self.chance.random()
            jump = 0.0
            if push and odd and self.slip == "stand bumped in a push":
                jump = self.chance.choice((-1, 1)) * self.chance.uniform(0.02, 0.3)
            if push and odd and self.slip == "zero pressed in a push":
                jump = -2.5
            creep = 0.0004 if self.slip == "stand creeps" else 0.0  # mm a mm of way
            if creep:
                self.saw.bump(creep * 220.0)
            reading = [
                r + (jump if s > where else 0.0) + creep * (s if push else -s)
                for s, r in zip(travel, reading, strict=True)
            ]
            traces.append(self._as_written(placement, travel, reading, push, sweep, second=second))
        return traces

    def _as_written(
        self,
        placement: str,
        travel: list[float],
        reading: list[float],
        push: bool,
        sweep: str,
        *,
        second: bool,
    ) -> Trace:
        if self.slip == "travel grows the other way":
            travel, push = [-s for s in travel], not push
        if self.slip == "inches taken as mm, readings" or (
            self.slip == "inches taken as mm, second set-up" and second
        ):
            reading = [round(r / INCH, 5) for r in reading]
        if self.slip == "inches taken as mm, travel":
            travel = [s / INCH for s in travel]
        return Trace(placement, travel, [self.turn * r for r in reading], push, sweep)

    def _sweep(self, push: bool, length: float, hold: tuple[float, float]) -> tuple[list[float], list[float]]:
        if self.swept:
            rows = self.recorder.push(length) if push else self.recorder.pull_back()
            return [s for s, _ in rows], [r for _, r in rows]
        x, yaw = hold
        marks = [m for m in MARKS if m <= length]
        if len(marks) < 4:
            marks = list(MARKS[:4])
        reading = [self.recorder.indicator.indicate(self.saw.depth(Pose(m, x, yaw))) for m in marks]
        order = 1 if push else -1
        return marks[::order], reading[::order]


def known_of(slip: str, saw: VirtualSaw, chance: Random) -> PriorKnowledge:
    e = saw.square_error
    if slip == "one set-up, square known" or (not slip.startswith("one set-up") and chance.random() < 0.5):
        return PriorKnowledge(square=SquareHistory(e + chance.gauss(0, 1e-5), 1.2e-5, 10))
    if slip == "one set-up, history of another square":
        return PriorKnowledge(square=SquareHistory(chance.gauss(0, 8e-5), 1.2e-5, 10))
    return PriorKnowledge()


def check(seed: int, slip: str, tally: Tally, *, swept: bool, leaning: bool) -> None:
    hands = Checker(seed, slip, swept=swept, leaning=leaning)
    saw = hands.saw
    jig = Jig(
        "pretend-sled",
        fence=saw.fence,
        pivot=saw.pivot,
        pivot_to_blade=saw.pivot_to_blade,
        pivot_to_screw=saw.pivot_to_screw,
        pivot_to_stop=saw.pivot_to_stop,
    )
    square = Square("shop", 300.0, 0.1) if seed % 3 == 0 else None
    known = known_of(slip, saw, hands.chance)
    tally.checks += 1
    traces = hands.traces(jig)
    if hands.stopped:
        tally.stopped += 1
        return
    gear = EvidenceGear(indicator=Indicator(resolution=COUNT), jig=jig, square=square)
    evidence = Evidence("fence-square", traces, {}, gear, known, hands.leans)
    try:
        found = conclude(evidence, id=str(seed), at="2026-01-01T00:00:00+00:00")
    except EvidenceError:
        tally.refused += 1
        return
    judge(found, hands.truth, jig, tally)


def judge(found: Finding, truth: float, jig: Jig, tally: Tally) -> None:
    told = [r for r in (*found.doubts, *found.remarks) if r.code not in STANDING]
    unproved = "side-as-said" in found.codes
    tally.notes.update(f"{r.code} at {r.placement}" for r in told)
    fence = found.quantities[0]
    if found.verdict == "inside" and abs(truth) > 2 * jig.tolerance:
        tally.false_good += 1
        tally.false_good_remarked += bool(told)
    if abs(fence.value - truth) > 2 * fence.uncertainty and not told:
        tally.confident_wrong += 1
    if found.move is None or jig.lever is None:
        return
    dy = found.move.distance if found.move.way == "away" else -found.move.distance
    # too far past square is a wrong distance; the way is wrong where the fence is turned as it already stands out
    if (dy / jig.lever > 0) != (truth > 0):
        return
    tally.wrong_way += 1
    if found.verdict == "cannot-tell":
        tally.too_close += 1
    elif told:
        tally.remarked += 1
    elif unproved:
        tally.standing += 1
    else:
        tally.nothing += 1


def run(checks: int, first: int, *, swept: bool, leaning: bool) -> dict[str, Tally]:
    tallies = {slip: Tally() for slip in SLIPS}
    for number in range(checks):
        slip = SLIPS[number % len(SLIPS)]
        check(first + number, slip, tallies[slip], swept=swept, leaning=leaning)
    return tallies


def figures(name: str, tally: Tally, *, notes: int = 2) -> dict[str, object]:
    whole = {k: v for k, v in vars(tally).items() if k != "notes"}
    return {"slip": name, **whole, "most said": dict(tally.notes.most_common(notes))}


def total(tallies: dict[str, Tally]) -> Tally:
    out = Tally()
    for tally in tallies.values():
        for name, value in vars(tally).items():
            if name == "notes":
                out.notes.update(value)
            else:
                setattr(out, name, getattr(out, name) + value)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checks", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--swept", action="store_true", help="whole pushes instead of nine marks")
    parser.add_argument("--each", action="store_true", help="a line for every slip too")
    args = parser.parse_args()
    for leaning in (False, True):
        began = time.process_time()
        tallies = run(args.checks, args.first, swept=args.swept, leaning=leaning)
        if args.each:
            for slip, tally in tallies.items():
                print(json.dumps({"leaned": leaning, **figures(slip, tally)}), flush=True)
        line = {"leaned": leaning, **figures("all", total(tallies), notes=0)}
        line["ms_a_check"] = round(1e3 * (time.process_time() - began) / args.checks, 1)
        print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
