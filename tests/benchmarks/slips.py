"""A hundred thousand fence-square checks by other hands, with every slip: `python tests/benchmarks/slips.py`.

Beside `signs_run.py`, whose checks the pretend saw makes: here a check is a few lines of numpy from lines turned in the
plane, quick enough for many, two in five with pull-backs, a few swept, most at nine marks, some with a square whose
error or tolerance is known, none leaned. Told by slip: refused, moves the wrong way, of those called too close to call,
remarked on, with only the standing remark (the side is as declared, not proved), with not a word; and "good" said of a
fence twice out. `--checks N` (100,000), `--first SEED`. One JSON line a slip, one for all.
"""

from __future__ import annotations

import argparse
import json
import signal
import time

import numpy as np
from signs_run import Tally, figures, judge, total

from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, SquareHistory, Trace
from bench.finding import EvidenceError
from bench.gear import Indicator, Jig, Square
from bench.procedure.conclusion import conclude

SLIPS = (
    "none",
    "not turned over, told as turned",
    "turned, but on another face of the handle",
    "wrong side in one set-up",
    "wrong side in both",
    "set-ups swapped",
    "stand bumped in a push",
    "stand bumped between pushes",
    "stand creeps",
    "leans over while pushed",
    "pivot at the other end",
    "reading grows the other way",
    "travel grows the other way",
    "inches as mm, readings",
    "inches as mm, one set-up",
    "inches as mm, travel",
    "dirt under the square, one push",
    "dirt under the square, one set-up",
    "square far out of its tolerance",
    "pushes too short",
    "one push too short",
    "tip slips off the end",
    "plunger sticks",
    "one push only",
    "one set-up only",
    "square of another name, one set-up",
    "sled not held, loose",
    "rows of one set-up copied into the other",
)
ONE = ("one set-up only", "square of another name, one set-up")
MARKS = np.arange(25.0, 226.0, 25.0)
NAMES = ("handle-left", "handle-right")
JIG = Jig("other", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)


class Hands:
    """One check: what was done, and what is known of the square."""

    def __init__(self, rng: np.random.Generator, slip: str) -> None:
        self.rng, self.slip = rng, slip
        self.a = float(rng.uniform(-8e-4, 8e-4))
        self.e = float(rng.normal(0, 6e-5))
        if slip == "square far out of its tolerance":
            self.e = float(rng.choice([-1, 1]) * rng.uniform(5e-4, 1.5e-3))
        self.swept, self.pulls = rng.uniform() < 0.03, rng.uniform() < 0.4
        self.count = float(rng.choice([0.001, 0.001, 0.002, 0.01]))
        self.seat = 60e-6 if slip == "sled not held, loose" else 20e-6

    def traces(self) -> list[Trace]:
        rng, slip = self.rng, self.slip
        pushes = 1 if slip == "one push only" else 3
        odd = (int(rng.integers(2)), int(rng.integers(pushes)))
        under = float(
            rng.choice([-1, 1]) * rng.uniform(2e-4, 8e-4)
        )  # dirt of 0.02 to 0.08 under a handle of 100
        out: list[Trace] = []
        taken = (int(rng.integers(2)),) if slip in ONE else (0, 1)
        for k in taken:
            edge = self.a + (self.e if k else -self.e)
            right = k == 0
            if slip == "not turned over, told as turned" and k:
                edge, right = self.a - self.e, True
            if slip.startswith("turned, but") and k:
                edge = self.a + float(rng.normal(0, 2e-4))
            if slip == "wrong side in both" or (slip == "wrong side in one set-up" and k == odd[0]):
                right = not right
            if slip == "dirt under the square, one set-up" and k == odd[0]:
                edge += under
            for n in range(pushes):
                lie = edge + float(rng.normal(0, self.seat))
                if slip == "dirt under the square, one push" and (k, n) == odd:
                    lie += under
                for back in (False, True) if self.pulls else (False,):
                    s, r = self._pass(lie, right, (k, n) == odd, back)
                    out.append(self._written(k, n, s, r, back))
        if slip == "rows of one set-up copied into the other":
            first = [t for t in out if t.placement == NAMES[0]]
            out = first + [replace_placement(t, NAMES[1]) for t in first]
        return out

    def _pass(self, lie: float, right: bool, odd: bool, back: bool) -> tuple[np.ndarray, np.ndarray]:
        rng, slip = self.rng, self.slip
        s = np.round(np.linspace(0, 220, 120), 2) if self.swept else MARKS
        if slip == "pushes too short" or (slip == "one push too short" and odd):
            s = s[s <= 75.0] if not self.swept else s[s <= 60.0]
        yaw = np.zeros(s.size)
        if slip == "leans over while pushed" and not back:
            yaw = (
                float(rng.choice([-1, 1])) * 0.03 * (s / 220) * float(rng.uniform(0, 1))
            )  # mm across, by play
        # an edge that stands at `lie` walks past a standing plunger: X grows by lie for each mm of travel
        depth = (1.0 if right else -1.0) * (lie * s + yaw) + 2.5
        if slip == "stand bumped in a push" and odd:
            depth = depth + np.where(
                s > s[s.size // 2], float(rng.choice([-1, 1]) * rng.uniform(0.02, 0.3)), 0.0
            )
        if slip == "stand bumped between pushes" and odd:
            depth = depth + float(rng.uniform(-0.4, 0.4))
        if slip == "stand creeps":
            depth = depth + 4e-4 * (440 - s if back else s)
        if slip == "tip slips off the end":
            depth = np.where(s > 0.8 * s.max(), depth - 2.0, depth)
        if back:
            s, depth = s[::-1], depth[::-1]
        depth = depth + rng.normal(0, max(0.0008, 0.2 * self.count), s.size)
        if slip == "plunger sticks":
            depth = stuck(depth, 0.03)
        return s, np.round(depth / self.count) * self.count

    def _written(self, k: int, n: int, s: np.ndarray, r: np.ndarray, back: bool) -> Trace:
        slip, push = self.slip, not back
        if slip == "reading grows the other way":
            r = -r
        if slip == "travel grows the other way":
            s, push = -s, not push
        if slip == "inches as mm, readings" or (slip == "inches as mm, one set-up" and k):
            inch = (
                0.0005 if self.count > 0.005 else 0.00005
            )  # such an instrument's count when it shows inches
            r = np.round(np.round(r / 25.4 / inch) * inch, 6)
        if slip == "inches as mm, travel":
            s = s / 25.4
        name = NAMES[1 - k] if slip == "set-ups swapped" else NAMES[k]
        return Trace(name, s.tolist(), r.tolist(), push, f"{k}{n}{'b' if back else ''}")

    def gear_and_known(self) -> tuple[EvidenceGear, PriorKnowledge]:
        rng = self.rng
        owned = Square("other", 300.0, 0.06) if rng.uniform() < 0.4 else None
        declared = self.count if rng.uniform() < 0.5 else None
        known = PriorKnowledge()
        if rng.uniform() < 0.4 and self.slip != "square far out of its tolerance":
            e = self.e if self.slip != "square of another name, one set-up" else float(rng.normal(0, 1e-4))
            known = PriorKnowledge(square=SquareHistory(e + float(rng.normal(0, 1e-5)), 1.2e-5, 10))
        jig = JIG
        if self.slip == "pivot at the other end":
            jig = Jig("other", pivot="left", pivot_to_blade=250.0, pivot_to_screw=500.0)
        return EvidenceGear(indicator=Indicator(resolution=declared), jig=jig, square=owned), known


def replace_placement(trace: Trace, name: str) -> Trace:
    return Trace(name, trace.travel, trace.reading, trace.push, trace.sweep, trace.seat, trace.hold, trace.at)


def stuck(depth: np.ndarray, grip: float) -> np.ndarray:
    """A plunger that follows only when it is `grip` behind, and then wholly."""
    out, at = np.empty(depth.size), float(depth[0])
    for k, d in enumerate(depth):
        if abs(d - at) > grip:
            at = float(d)
        out[k] = at
    return out


def check(seed: int, slip: str, tally: Tally) -> None:
    hands = Hands(np.random.default_rng([7, seed]), slip)
    traces = hands.traces()
    gear, known = hands.gear_and_known()
    tally.checks += 1
    try:
        found = conclude(
            Evidence("fence-square", traces, {}, gear, known), id=str(seed), at="2026-01-01T00:00:00+00:00"
        )
    except EvidenceError:
        tally.refused += 1
        return
    if slip == "pivot at the other end" and found.move is not None:
        # the way is meant for an end that does not move: whoever makes it at the other all the same goes wrong
        found = remarked(found)
    judge(found, hands.a, JIG, tally)


def remarked(found):  # type: ignore[no-untyped-def]
    """The end that the move names is the pivot: it is there to be read, so the answer counts as remarked on."""
    import msgspec

    from bench.finding import Remark

    return msgspec.structs.replace(found, remarks=[*found.remarks, Remark("names-its-end")])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checks", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    args = parser.parse_args()
    began = time.process_time()
    tallies = {slip: Tally() for slip in SLIPS}
    stop: list[int] = []
    signal.signal(signal.SIGTERM, lambda number, frame: stop.append(number))  # what was done is told
    for number in range(args.checks):
        if stop:
            break
        slip = SLIPS[number % len(SLIPS)]
        check(args.first + number, slip, tallies[slip])
    for slip, tally in tallies.items():
        print(json.dumps(figures(slip, tally, notes=1)), flush=True)
    line = figures("all", total(tallies), notes=0)
    line["ms_a_check"] = round(
        1e3 * (time.process_time() - began) / max(1, sum(t.checks for t in tallies.values())), 1
    )
    print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
