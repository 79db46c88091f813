"""The sled fence's give or take by disturbance: `python tests/benchmarks/fence_table.py [CLASS...] [--cases N]`.

Passes over bodies that are moved beside this file (fence_bodies) go through the road that `evaluate` takes. By class:
how often the truth lies within the interval (held), median half-width over that of one who knew the size of everything
(width), mean error over the half-width (bias), half-width in mm per 300, verdicts at 0.05 and how many were wrong. One
JSON line a class. Run with PYTHONPATH=FOLDER of an older tree it tells what that one did with the same cases.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter
from collections.abc import Callable

import numpy as np
from fence_bodies import Disturbed, Hands, check, draw, ideal, truth

from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, Trace
from bench.checks.shared.pooling import pool_of, set_up_scatter
from bench.finding import BudgetRow, EvidenceError, Finding, Quantity, SweepRow
from bench.gear import Indicator, Jig, Square
from bench.procedure.conclusion import conclude

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
SQUARE = Square("shop", arm=300.0)
OVER = 300.0
COARSE = Hands(count=0.01, noise=0.003)
CURVED = 8 * 0.03 / 500**2  # 1/mm: bows 0.03 over 500
CLASSES: dict[str, tuple[Hands, Disturbed]] = {
    "base": (Hands(), Disturbed()),
    "base, counts of 0.01": (COARSE, Disturbed()),
    "two passes a set-up": (Hands(passes=(2, 2)), Disturbed()),
    "base, 20 in the log": (Hands(), Disturbed(history=20)),
    "two passes, 20 in the log": (Hands(passes=(2, 2)), Disturbed(history=20)),
    "set-ups differ 15": (Hands(), Disturbed(set_up=15e-6)),
    "set-ups differ 30": (Hands(), Disturbed(set_up=30e-6)),
    "set-ups differ 15, 20 in the log": (Hands(), Disturbed(set_up=15e-6, history=20)),
    "set-ups differ 30, 3 in the log": (Hands(), Disturbed(set_up=30e-6, history=3)),
    "set-ups differ 30, 6 in the log": (Hands(), Disturbed(set_up=30e-6, history=6)),
    "set-ups differ 30, 20 in the log": (Hands(), Disturbed(set_up=30e-6, history=20)),
    "base, 3 in the log": (Hands(), Disturbed(history=3)),
    "set-ups differ 45": (Hands(), Disturbed(set_up=45e-6)),
    "days differ 30, 20 on 4 days in the log": (
        Hands(), Disturbed(day_set_up=30e-6, history=20, checks_a_day=5)),
    "fence flexes 30 a set-up, one seat": (Hands(seat=5e-6), Disturbed(set_up=30e-6)),
    "set-ups differ 60, 20 in the log": (Hands(), Disturbed(set_up=60e-6, history=20)),
    "back on the other wall 50": (Hands(), Disturbed(back_yaw=50e-6)),
    "back on the other wall 100": (Hands(), Disturbed(back_yaw=100e-6)),
    "back on the other wall 200": (Hands(), Disturbed(back_yaw=200e-6)),
    "creep in both set-ups": (Hands(), Disturbed(creep=1e-5)),
    "creep in one set-up": (Hands(), Disturbed(creep_first=3e-5)),
    "creep in one set-up, 20 in the log": (Hands(), Disturbed(creep_first=3e-5, history=20)),
    "creep in one set-up, quick and dying away": (Hands(), Disturbed(creep_first=8e-5, creep_fades=0.5)),
    "creep in the second set-up, counts of 0.01": (COARSE, Disturbed(creep=3e-5, creep_first=-3e-5)),
    "creep in both, unlike": (Hands(), Disturbed(creep=2e-5, creep_first=-4e-5)),
    "back on the other wall 100, 20 in the log": (Hands(), Disturbed(back_yaw=100e-6, history=20)),
    "play known, hold not said": (Hands(), Disturbed(yaw_play=3.56e-4)),
    "one pass, play known": (Hands(passes=(1, 1), hold=90e-6), Disturbed(yaw_play=3.56e-4)),
    "stand along a bowed arm 15": (Hands(), Disturbed(shifted=15.0, bow=0.02)),
    "stand along a bowed arm 30": (Hands(), Disturbed(shifted=30.0, bow=0.02)),
    "stand along a straight arm 15": (Hands(), Disturbed(shifted=15.0)),
    "stand along a bowed arm 15, counts of 0.01": (COARSE, Disturbed(shifted=15.0, bow=0.02)),
    "stand along a hollow arm 20, long waves, counts of 0.005": (
        Hands(count=0.005, noise=0.002, reach=14.0), Disturbed(shifted=20.0, bow=-0.03)),
    "stand along a bowed arm 15, 20 in the log": (Hands(), Disturbed(shifted=15.0, bow=0.02, history=20)),
    "stand along a smooth bowed arm 10": (Hands(texture=0.0), Disturbed(shifted=10.0, bow=0.02)),
    "bowed arm, stand at its mark": (Hands(), Disturbed(bow=0.02)),
    "curved slot": (Hands(), Disturbed(curvature=CURVED)),
    "curved slot, stand along a bowed arm": (Hands(), Disturbed(curvature=CURVED, shifted=15.0, bow=0.02)),
    "dent at the arm's end": (Hands(), Disturbed(dent=0.06)),
    "deep dent at the arm's end": (Hands(), Disturbed(dent=0.3)),
    "ledge of 60 mm at the arm's end": (Hands(), Disturbed(dent=0.06, dent_long=60.0)),
    "plunger off the arm's plane": (Hands(), Disturbed(off_plane=20.0, roll=150e-6)),
    "plunger off the arm's plane, told": (Hands(), Disturbed(off_plane=20.0, roll=150e-6, told=True)),
    "plunger off the arm's plane, told, 20 in the log": (
        Hands(), Disturbed(off_plane=20.0, roll=150e-6, told=True, history=20)),
    "plunger far off the plane, sled rolls back, told": (
        Hands(), Disturbed(off_plane=35.0, roll=-120e-6, told=True)),
    "plunger tilted 10 degrees": (Hands(), Disturbed(tilt=math.radians(10))),
    "plunger tilted 10 degrees, told": (Hands(), Disturbed(tilt=math.radians(10), told=True)),
    "gain 2 %": (Hands(), Disturbed(gain=0.02)),
}  # fmt: skip


def known_of(log: list[Finding], yaw_play: float | None) -> PriorKnowledge:
    """What the log says, by the program's own arithmetic."""
    if not log:
        return PriorKnowledge(yaw_play=yaw_play)
    return PriorKnowledge(
        pool=pool_of(log, on_one_seat=False), set_ups=set_up_scatter(log), yaw_play=yaw_play
    )


def logged(rng: np.random.Generator, e: float, hands: Hands, d: Disturbed) -> list[Finding]:
    """Findings of three and three passes as the log has them: same sled and square, the fence moved between them."""
    out = []
    sd = math.hypot(hands.seat, hands.hold)
    day = {"handle-left": 0.0, "handle-right": 0.0}
    for number in range(d.history):
        a = rng.uniform(-8e-4, 8e-4)
        rows, means = [], []
        if d.day_set_up and number % d.checks_a_day == 0:  # of each set-up of that day
            day = {name: rng.normal(0, d.day_set_up) for name in day}
        for name, sign in (("handle-left", 1.0), ("handle-right", -1.0)):
            whole = rng.normal(0, d.set_up) if d.set_up and not d.calm_history else 0.0
            whole += day[name]
            b = [a - sign * e + whole + rng.normal(0, sd) for _ in range(3)]
            means.append(float(np.mean(b)))
            rows += [SweepRow(name, True, 110, 0, sign * x, 3e-6) for x in b]
        quantities = [
            Quantity("fence", (means[0] + means[1]) / 2, "rad", 3e-5, 4.0),
            Quantity("square", (means[1] - means[0]) / 2, "rad", 3e-5, 4.0),
        ]
        budget = [BudgetRow("between sweeps", "A", sd / math.sqrt(6), 4.0, 1.0)]
        out.append(
            Finding(
                check="fence-square",
                id=f"{number}",
                at=f"2025-03-{1 + number // d.checks_a_day:02}",
                quantities=quantities,
                sweeps=rows,
                budget=budget,
            )
        )
    return out


def finding_of(seed: int, name: str) -> tuple[Finding, float, float]:
    """Finding, truth and ideal of one case of a class. Raises EvidenceError where nothing could be concluded."""
    hands, d = CLASSES[name]
    rng = np.random.default_rng([seed, *name.encode()])
    saw = draw(rng, hands, d)
    passes = check(rng, saw, hands, d)
    log = logged(rng, saw.e, hands, d)
    traces = [
        Trace(place, s.tolist(), [round(float(x), 6) for x in r], push, f"{n}", at=t.tolist())
        for n, (place, push, s, r, t) in enumerate(passes)
    ]
    indicator = Indicator(resolution=hands.count)
    options: dict[str, object] = {}
    if d.told:
        indicator = Indicator(resolution=hands.count, tilt=d.tilt or indicator.tilt)
        options = {"touch_high": d.off_plane, "roll": abs(d.roll)} if d.roll else {}
    gear = EvidenceGear(indicator=indicator, jig=SLED, square=SQUARE)
    evidence = Evidence("fence-square", traces, options, gear, known_of(log, d.yaw_play))
    return conclude(evidence, id=f"{seed}", at="2026-01-01T00:00:00+00:00"), truth(saw), ideal(hands, d)


def table(name: str, cases: int, first: int) -> dict[str, object]:
    held, width, errors, wide, wrong = [], [], [], [], 0
    curved: list[bool] = []
    verdicts: Counter[str] = Counter()
    remarks: Counter[str] = Counter()
    for seed in range(first, first + cases):
        try:
            finding, true, least = finding_of(seed, name)
        except EvidenceError:
            verdicts["refused"] += 1
            continue
        fence = finding.quantities[0]
        errors.append(fence.value - true)
        wide.append(fence.uncertainty)
        held.append(abs(errors[-1]) <= fence.uncertainty)
        width.append(fence.uncertainty / least)
        verdicts[str(finding.verdict)] += 1
        said = {"inside": True, "outside": False}.get(str(finding.verdict))
        wrong += said is not None and said != (abs(true) <= SLED.tolerance)
        remarks.update(finding.codes)
        for q in finding.quantities[2:]:
            curved.append(abs(q.value - CLASSES[name][1].curvature) <= q.uncertainty)
    row: dict[str, object] = {"class": name, "cases": len(held)}
    if held:
        row |= {
            "held": round(float(np.mean(held)), 3),
            "width": round(float(np.median(width)), 2),
            "bias": round(float(np.mean(errors) / np.median(wide)), 2),
            "u95_mm_per_300": round(float(np.mean(wide)) * OVER, 4),
        }
    row |= {"verdicts": dict(verdicts), "wrong": wrong}
    if curved:
        row["curvature_held"] = round(float(np.mean(curved)), 3)
    told = {code: n for code, n in remarks.most_common() if code not in ALWAYS and n > 0.05 * cases}
    return row | {"told": told}


ALWAYS = {"handle-stretch", "yaw-unknown", "hold-unsaid", "side-as-said", "either-side"}


def main(run: Callable[[str, int, int], dict[str, object]] = table) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("classes", nargs="*", help=f"of {', '.join(CLASSES)}; all by default")
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    args = parser.parse_args()
    for name in args.classes or CLASSES:
        print(json.dumps(run(name, args.cases, args.first)), flush=True)


if __name__ == "__main__":
    main()
