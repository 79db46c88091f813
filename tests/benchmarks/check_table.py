"""Every check but the sled fence, class by class: `python tests/benchmarks/check_table.py [KIND...] [--cases N]`.

Recorded files made by other hands with disturbances that no model of the program draws are worked out by the road of
`evaluate`. One JSON line a class and quantity: coverage of the truth, half-width over that of one who knew every size
(`width`) and of one who knew no more than can be known there (`knowable`; medians over medians), mean error over the
half-width (`bias`), verdicts inside and wrong ones.
`--tree FOLDER` holds the code of another commit to the same files.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np


@dataclass
class Tally:
    """Of one class and quantity."""

    errors: list[float] = field(default_factory=list)
    given: list[float] = field(default_factory=list)
    ideal: list[float] = field(default_factory=list)
    knowable: list[float] = field(default_factory=list)

    def row(self) -> dict[str, float]:
        off, u, best = np.array(self.errors), np.array(self.given), np.array(self.ideal)
        return {
            "cases": off.size,
            "held": round(float(np.mean(np.abs(off) <= u)), 3),
            "width": round(float(np.median(u) / np.median(best)), 2),
            "knowable": round(float(np.median(u) / np.median(self.knowable)), 2),
            "bias": round(float(np.mean(off) / max(np.median(u), 1e-12)), 3),
        }


def table(kinds: list[str], cases: int, seed: int, classes: str = "") -> Iterator[dict[str, object]]:
    from disturbed_blade import CLASSES as BLADE
    from disturbed_sled import CLASSES as SLED

    for kind, by_name in {**BLADE, **SLED}.items():
        for name, make in by_name.items() if not kinds or kind in kinds else ():
            if classes in name:
                yield from one_class(kind, name, make, cases, seed)


def one_class(kind: str, name: str, make: object, cases: int, seed: int) -> Iterator[dict[str, object]]:
    from foreign_files import verdict_wrong, worked

    from bench.cli.csv_rows import RecordedError
    from bench.finding import EvidenceError

    tallies: dict[str, Tally] = {}
    refused: Counter[str] = Counter()
    inside = wrong = 0
    for number in range(cases):
        case = make(np.random.default_rng([seed, number, *f"{kind} {name}".encode()]))  # type: ignore[operator]
        try:
            finding = worked(case)
        except (EvidenceError, RecordedError) as error:
            refused[str(error)[:60]] += 1
            continue
        inside += finding.verdict == "inside"
        wrong += verdict_wrong(case, finding)
        for q in finding.quantities:
            if q.name in case.truths:
                off = q.value - case.truths[q.name]
                tally = tallies.setdefault(q.name, Tally())
                tally.errors.append(math.remainder(off, 2 * math.pi) if q.name == "phase" else off)
                tally.given.append(q.uncertainty)
                tally.ideal.append(case.ideals[q.name])
                tally.knowable.append({**case.ideals, **case.knowable}[q.name])
    for quantity, tally in tallies.items():
        row = {"kind": kind, "class": name, "quantity": quantity, **tally.row()}
        yield {**row, "inside": inside, "wrong": wrong, "refused": dict(refused)}
    if not tallies:
        yield {"kind": kind, "class": name, "refused": dict(refused)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*")
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--classes", default="", help="only those whose name has this in it")
    parser.add_argument("--tree", help="folder whose `bench` is held to the files")
    args = parser.parse_args()
    if args.tree:
        sys.path.insert(0, args.tree)
    for row in table(args.kinds, args.cases, args.seed, args.classes):
        print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
