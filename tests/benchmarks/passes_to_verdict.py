"""Passes until a verdict: `python tests/benchmarks/passes_to_verdict.py [--saws N] [--tolerance MM]`.

Sled fences within twice the tolerance (mm per 300), measured as the procedure asks: three passes a set-up, one fewer in
the second where that settles it, and once more as many as the finding names where it is too close to call. Bodies are
those of fence_bodies. Told: median and 95th percentile of the passes away, of those settled at first, early and after
the extension, how many are too close to call after it or were told that this set-up cannot, wrong verdicts among those
told. One JSON line a tolerance; with PYTHONPATH=FOLDER of an older tree, what that one did with the same saws.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter

import msgspec
import numpy as np
from fence_bodies import Disturbed, Hands, Pass, check, draw, truth
from fence_table import OVER, known_of, logged

from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude

MOST = 12  # passes a set-up that are made ready
try:
    from bench.uncertainty.verdicts import decided_early
except ImportError:
    decided_early = None  # an older tree, which has no such look


def found(
    passes: list[Pass], taken: dict[str, int], anew: list[Pass], more: int, jig: Jig, known: PriorKnowledge
) -> Finding:
    """As many passes as were taken, and `more` a set-up from those that were set up anew."""
    left = dict.fromkeys(taken, 0)
    added = dict.fromkeys(taken, 0)
    traces = []
    for n, (name, push, s, r, t) in enumerate([*passes, *anew]):
        count, most = (left, taken[name]) if n < len(passes) else (added, more)
        count[name] += push
        if count[name] <= most:
            traces.append(
                Trace(name, s.tolist(), [round(float(x), 6) for x in r], push, f"{n}", at=t.tolist())
            )
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), jig=jig)
    return conclude(Evidence("fence-square", traces, {}, gear, known), id="x", at="2026-01-01T00:00:00+00:00")


def settled_early(finding: Finding) -> bool:
    q = finding.quantities[0]
    return decided_early is not None and decided_early(
        q.value, q.uncertainty, q.degrees_of_freedom, q.tolerance or 0.0, finding.confidence
    )


def one(seed: int, tolerance: float, history: int) -> tuple[int, str, str | None, bool]:
    """Passes taken, how it ended, verdict, whether that was wrong."""
    rng = np.random.default_rng([seed, 77])
    saw = draw(rng, Hands(), Disturbed())
    saw.a = rng.uniform(-2 * tolerance, 2 * tolerance)
    disturbed = Disturbed(history=history)
    passes = check(rng, saw, Hands(), Disturbed())
    anew = check(rng, saw, Hands(passes=(MOST, MOST)), Disturbed())
    known = known_of(logged(rng, saw.e, Hands(), disturbed), None)
    jig = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, tolerance=tolerance)
    taken, how = {"handle-left": 3, "handle-right": 2}, "early"
    finding = found(passes, taken, anew, 0, jig, known)
    if not settled_early(finding):
        taken["handle-right"], how = 3, "at first"
        finding = found(passes, taken, anew, 0, jig, known)
    if finding.verdict == "cannot-tell":
        more = finding.more_pushes
        if more is None or 3 + more > MOST:
            checks = getattr(finding.settle, "checks", None)
            how = "this set-up cannot" if checks is None else "checks in the log would"
        else:
            how, again = "extended", msgspec.structs.replace(known, looks=1)
            finding = found(passes, taken, anew, more, jig, again)
            taken = dict.fromkeys(taken, 3 + more)
    inside = abs(truth(saw)) <= tolerance
    wrong = finding.verdict in ("inside", "outside") and (finding.verdict == "inside") != inside
    return sum(taken.values()), how, finding.verdict, wrong


def table(saws: int, tolerance: float, history: int) -> dict[str, object]:
    told = [one(seed, tolerance / OVER, history) for seed in range(saws)]
    passes = [n for n, *_ in told]
    ended: Counter[str] = Counter()
    for _, how, verdict, _ in told:
        close = verdict == "cannot-tell" and how == "extended"
        ended["extended, still too close" if close else how] += 1
    return {
        "tolerance_mm_per_300": tolerance,
        "saws": saws,
        "checks_in_the_log": history,
        "passes_median": float(np.median(passes)),
        "passes_95th": float(np.percentile(passes, 95)),
        "passes_mean": round(float(np.mean(passes)), 2),
        "ended": dict(ended),
        "wrong": sum(wrong for *_, wrong in told),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--saws", type=int, default=1000)
    parser.add_argument(
        "--tolerance", type=float, action="append", help="mm per 300; 0.05 and 0.02 by default"
    )
    parser.add_argument("--log", type=int, action="append", help="checks in the log; 0 and 20 by default")
    args = parser.parse_args()
    for history in args.log or (0, 20):
        for tolerance in args.tolerance or (0.05, 0.02):
            print(json.dumps(table(args.saws, tolerance, history)), flush=True)


if __name__ == "__main__":
    main()
