"""Recorded files made by other hands, worked out: `python tests/benchmarks/foreign_files.py [KIND...] [--files N]`.

Nothing of the program makes them: bodies are turned and cut beside this file (foreign_hands, foreign_swept,
foreign_spots, foreign_squares), with noise, coarse counts, inches, dust, rests, bows, few points, one push, creep and
a wrong order in them. By kind and quantity: how often the truth lies within the interval, the median half-width over
the ideal (of one who knew the size of everything that was put in), wrong verdicts, wrong ways, refusals. `--tags` tells
it by what is in them. One JSON line each.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter, defaultdict

import msgspec
import numpy as np
from foreign_hands import Case
from foreign_spots import plate_wobble, runner_fit, side_play, test_board
from foreign_squares import mitre_square, upright
from foreign_swept import fence_square, fence_straight, rip_fence, slot_blade

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Pool, PriorKnowledge
from bench.cli.csv_rows import RecordedError, table_of
from bench.cli.recorded_sweeps import traces_of
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw, Square
from bench.procedure.conclusion import conclude

KINDS = {f.__name__.replace("_", "-"): f for f in (
    fence_square, slot_blade, rip_fence, plate_wobble, fence_straight, runner_fit, side_play, test_board,
    mitre_square, upright,
)}  # fmt: skip


def worked(case: Case) -> Finding:
    jig = Jig("other", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, **case.sled)  # type: ignore[arg-type]
    square = Square("other", **case.square) if case.square else None  # type: ignore[arg-type]
    gear = EvidenceGear(Indicator(resolution=case.count), jig=jig, saw=Saw("other"), square=square)
    check = find(case.kind)
    options = {o.name: o.default for o in check.options if o.default is not None}
    options.update(case.options)  # type: ignore[arg-type]
    traces = traces_of(table_of(case.text, "foreign.csv"), check, options, gear)
    known = PriorKnowledge(yaw_play=case.log.get("yaw_play"))
    if "passes" in case.log and hasattr(known, "passes"):  # the code of an earlier commit may not know it
        known = msgspec.structs.replace(known, passes=Pool(case.log["passes"], 34.0))
    if "pool" in case.log:
        known = msgspec.structs.replace(known, pool=Pool(case.log["pool"], 34.0))
    return conclude(
        Evidence(case.kind, traces, options, gear, known), id="foreign", at="2026-01-01T00:00:00+00:00"
    )


def verdict_wrong(case: Case, finding: Finding) -> bool:
    if case.limit is None or finding.verdict not in ("inside", "outside"):
        return False
    truth = abs(case.truths[finding.quantities[0].name])
    return (truth <= case.limit) != (finding.verdict == "inside")


def run(kind: str, files: int, seed: int) -> list[dict[str, object]]:
    held: dict[tuple[str, str], list[bool]] = defaultdict(list)
    wide: dict[tuple[str, str], list[float]] = defaultdict(list)
    bias: dict[str, list[float]] = defaultdict(list)
    refused: Counter[str] = Counter()
    verdicts, ways, decided = 0, 0, 0
    for number in range(files):
        rng = np.random.default_rng([seed, number, *kind.encode()])
        case = KINDS[kind](rng)
        try:
            finding = worked(case)
        except (EvidenceError, RecordedError) as error:
            refused[str(error)[:90]] += 1
            continue
        verdicts += verdict_wrong(case, finding)
        decided += finding.verdict in ("inside", "outside")
        first = finding.quantities[0]
        ways += case.way is not None and finding.verdict == "outside" and case.way not in (first.way or "")
        for quantity in finding.quantities:
            truth = case.truths.get(quantity.name)
            if truth is None:
                continue
            off = quantity.value - truth
            if quantity.name == "phase":
                off = math.remainder(off, 2 * math.pi)
            for tag in ("all", *sorted(case.tags)):
                held[quantity.name, tag].append(abs(off) <= quantity.uncertainty)
                wide[quantity.name, tag].append(quantity.uncertainty / case.ideals[quantity.name])
            bias[quantity.name].append(off / max(quantity.uncertainty, 1e-12))
    rows: list[dict[str, object]] = []
    for (name, tag), answers in held.items():
        row: dict[str, object] = {"kind": kind, "quantity": name, "with": tag, "files": len(answers)}
        row["held"] = round(float(np.mean(answers)), 3)
        row["width"] = round(float(np.median(wide[name, tag])), 2)
        if tag == "all":
            row["bias_of_u"] = round(float(np.mean(np.clip(bias[name], -3, 3))), 3)
            row["rms_of_u"] = round(float(np.sqrt(np.mean(np.clip(bias[name], -5, 5) ** 2))), 3)
            row |= {
                "decided": decided,
                "wrong_verdicts": verdicts,
                "wrong_ways": ways,
                "refused": dict(refused),
            }
        rows.append(row)
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", choices=[*KINDS, []], default=[])
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tags", action="store_true", help="by what is in them too")
    args = parser.parse_args()
    for kind in args.kinds or KINDS:
        for row in run(kind, args.files, args.seed):
            if args.tags or row["with"] == "all":
                print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
