"""The whole check on many pretend saws: `python tests/benchmarks/whole_check.py [--saws N] [--count MM]`.

Every saw is drawn with everything in it (seat and hold of 20 urad or so, play, texture, bow, dust, uneven push,
late readings, noise, hysteresis); three and three reseated pushes of 220 mm, each drawn back, go through the
road that `evaluate` takes. Prints U95 of the fence over 300 mm (median and 95th percentile), how often fence and
square held the truth, the root-mean-square error, and how many verdicts were wrong. One JSON line an
instrument; the truth is the pretend saw's own, which no arithmetic of the program has made.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections import Counter
from random import Random

import numpy as np
from recording import Recorder

from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from hw.virtual.saw import VirtualSaw
from hw.virtual.traits import Traits

PUSH = 220.0  # mm
PLACEMENTS = ("handle-left", "handle-right")
SWEEPS = 3
OVER = 300.0  # mm that a slope is told over


class Scale:
    """The indicator's own error along its range, mm: a wave of half a count or so, as a rack or a scale has it.

    Invented: 0.3 to 1 mm long, half a count high; over a tenth of a millimetre it errs by a count at most.
    """

    def __init__(self, seed: int, count: float, height: float) -> None:
        chance = Random(f"scale {seed}")
        self.count, self.height = count, height
        self.length, self.phase = chance.uniform(0.3, 1.0), chance.uniform(0.0, 2 * math.pi)

    def shown(self, reading: float) -> float:
        off = self.height * self.count * math.sin(2 * math.pi * reading / self.length + self.phase)
        return round((reading + off) / self.count) * self.count


def take(
    seed: int,
    count: float,
    short_span: float | None = None,
    *,
    shift_stand: bool = False,
    scale: float = 0.0,
    traits: Traits | None = None,
) -> tuple[Finding, dict[str, float], Jig]:
    """One check of the saw of that seed: its finding, the truth, and the sled.

    shift_stand: the preload is moved by 0.2 to 0.5 mm from push to push. scale: height of the indicator's own
    error in counts.
    """
    chance, errs = Random(f"stand {seed}"), Scale(seed, count, scale)
    saw = VirtualSaw.draw(seed, traits, fence="far" if seed % 4 == 3 else "near")
    recorder = Recorder(saw, resolution=0.0 if scale else count)
    traces = []
    for placement in PLACEMENTS:
        saw.place(placement)
        for number in range(SWEEPS):
            saw.seat()
            saw.lower()
            if shift_stand and number:
                saw.bump(chance.uniform(0.2, 0.5))
            for push, sweep in ((True, recorder.push(PUSH)), (False, recorder.pull_back())):
                travel, reading = (list(column) for column in zip(*sweep, strict=True))
                # rounded once, after the error: a half count added to whole counts would be lost again
                reading = [errs.shown(r) for r in reading] if scale else reading
                traces.append(Trace(placement, travel, reading, push, f"{placement}-{number}"))
    jig = Jig(
        "pretend-sled",
        fence=saw.fence,
        pivot=saw.pivot,
        pivot_to_blade=saw.pivot_to_blade,
        pivot_to_screw=saw.pivot_to_screw,
        pivot_to_stop=saw.pivot_to_stop,
    )
    gear = EvidenceGear(indicator=Indicator(resolution=count, short_span_error=short_span), jig=jig)
    evidence = Evidence("fence-square", traces, {}, gear, PriorKnowledge())
    finding = conclude(evidence, id=str(seed), at="2026-01-01T00:00:00+00:00")
    return finding, saw.truth(), jig


def wrong(finding: Finding, truth: float, tolerance: float) -> bool:
    said = finding.verdict
    return (said == "inside" and abs(truth) > tolerance) or (said == "outside" and abs(truth) <= tolerance)


def wrong_way(finding: Finding, truth: float, jig: Jig) -> bool:
    """The move turned the fence further out than it was."""
    if finding.move is None or jig.lever is None:
        return False
    dy = finding.move.distance if finding.move.way == "away" else -finding.move.distance
    return abs(truth + dy / jig.lever) > abs(truth)


def table(
    saws: int,
    count: float,
    first: int,
    short_span: float | None = None,
    *,
    shift_stand: bool = False,
    scale: float = 0.0,
    traits: Traits | None = None,
) -> dict[str, object]:
    began = time.process_time()
    wide, errors, held, held_square, bad, way = [], [], [], [], 0, 0
    verdicts: Counter[str] = Counter()
    parts: dict[str, list[float]] = {}
    remarks: Counter[str] = Counter()
    for seed in range(first, first + saws):
        finding, truth, jig = take(
            seed, count, short_span, shift_stand=shift_stand, scale=scale, traits=traits
        )
        fence, square = finding.quantities[:2]
        wide.append(fence.uncertainty * OVER)
        errors.append((fence.value - truth["rotation"]) * OVER)
        held.append(abs(errors[-1]) <= wide[-1])
        held_square.append(abs(square.value - truth["reference_error"]) <= square.uncertainty)
        verdicts[str(finding.verdict)] += 1
        bad += wrong(finding, truth["rotation"], jig.tolerance)
        way += wrong_way(finding, truth["rotation"], jig)
        for row in finding.budget:
            parts.setdefault(row.part, []).append(row.standard_uncertainty)
        remarks.update(finding.codes)
    spent = time.process_time() - began
    return {
        "saws": saws,
        "count_mm": count,
        "short_span_error_mm": short_span,
        "stand_shifted": shift_stand,
        "scale_error_counts": scale,
        "u95_median_mm_per_300": round(float(np.median(wide)), 4),
        "u95_mean_mm_per_300": round(float(np.mean(wide)), 4),
        "u95_p95_mm_per_300": round(float(np.percentile(wide, 95)), 4),
        "rms_error_mm_per_300": round(float(np.sqrt(np.mean(np.square(errors)))), 4),
        "bias_mm_per_300": round(float(np.mean(errors)), 4),
        "held_fence": round(float(np.mean(held)), 4),
        "held_square": round(float(np.mean(held_square)), 4),
        "verdicts": dict(verdicts),
        "wrong_verdicts": bad,
        "wrong_way": way,
        "urad_by_part": {
            name: round(1e6 * float(np.sqrt(np.mean(np.square(values)))), 2) for name, values in parts.items()
        },
        "remarks": dict(remarks.most_common(8)),
        "ms_a_saw": round(1e3 * spent / saws, 1),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--saws", type=int, default=1000)
    parser.add_argument("--count", type=float, action="append", help="mm; 0.001 and 0.01 by default")
    parser.add_argument(
        "--short-span",
        type=float,
        help="mm that the indicator is off over the span used; a count and 1 %% by default",
    )
    parser.add_argument("--shift-stand", action="store_true", help="0.2 to 0.5 mm from push to push")
    parser.add_argument(
        "--scale-error", type=float, default=0.0, help="height in counts of the indicator's own error"
    )
    parser.add_argument(
        "--with", dest="traits", action="append", default=[], metavar="NAME=VALUE",
        help="of hw.virtual.traits: slot_curve=1e-6, return_yaw=1e-4, stance=3e-5, ...",
    )  # fmt: skip
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    args = parser.parse_args()
    given = dict(pair.split("=") for pair in args.traits)
    traits = Traits(**{name: float(value) for name, value in given.items()})
    for count in args.count or (0.001, 0.01):
        row = table(
            args.saws,
            count,
            args.first,
            args.short_span,
            shift_stand=args.shift_stand,
            scale=args.scale_error,
            traits=traits,
        )
        print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
