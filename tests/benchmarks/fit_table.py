"""How sharp and how honest the line fit is, class by class: `python tests/benchmarks/fit_table.py [--trials N]`.

Prints the root-mean-square error of the slope over its Cramer-Rao bound beside plain least squares and the
line through first and last reading; how often intervals hold the truth and how wide they are beside the ideal
(normal, everything known), for single sweeps, three sweeps (2 degrees of freedom), three and three (4), and
three pooled with a log of 20 degrees of freedom ("asked": how often today looked different and the log was set
aside; the width is that of the others, the coverage that of all); sweeps differ by play from none to three times the
noise.
"""

from __future__ import annotations

import argparse
import json
import time
from types import SimpleNamespace

import numpy as np
from sweep_surfaces import CLASSES, step

from bench.geometry.line_fit import fit_sweep
from bench.uncertainty.budget import combine
from bench.uncertainty.distributions import t_quantile
from bench.uncertainty.sweeps import Group, between_sweeps

PLAY = (0.0, 1.0, 3.0)


def interval(groups: list[Group], pool: object = None) -> tuple[float, bool]:
    """Half-width, and whether the log was set aside because today looks different and three more are asked for."""
    between = between_sweeps(groups, pool)  # type: ignore[arg-type]
    return combine([between.part]).expanded, between.asks_for_more


def one_class(name: str, trials: int, seed: int) -> dict[str, float]:
    rng = np.random.default_rng([seed, *name.encode()])
    ours, plain, ends, single, single_width, refused, spent = [], [], [], [], [], 0, 0.0
    held: dict[str, list[bool]] = {"3": [], "3+3": [], "pooled": []}
    wide: dict[str, list[float]] = {"3": [], "3+3": [], "pooled": []}
    asked: list[bool] = []
    for trial in range(trials):
        fits = []
        for _ in range(6):
            surface = CLASSES[name](rng)
            began = time.process_time()
            fit = fit_sweep(surface.travel, surface.reading, resolution=surface.count)
            spent += time.process_time() - began
            if fit.refused:
                refused += 1
                continue
            error = fit.slope - surface.truth
            ours.append(error / surface.bound)
            plain.append((np.polyfit(surface.travel, surface.reading, 1)[0] - surface.truth) / surface.bound)
            two = (surface.reading[-1] - surface.reading[0]) / (surface.travel[-1] - surface.travel[0])
            ends.append((two - surface.truth) / surface.bound)
            u = t_quantile(0.95, round(fit.degrees_of_freedom, 2)) * fit.standard_uncertainty
            single.append(abs(error) <= u)
            single_width.append(u / (1.959964 * surface.bound))
            fits.append((error, fit.standard_uncertainty, fit.degrees_of_freedom, surface.bound))
        if len(fits) < 6:
            continue
        bound = float(np.sqrt(np.mean([row[3] ** 2 for row in fits])))
        play = PLAY[trial % 3] * bound
        error = np.array([row[0] for row in fits]) + rng.normal(0, play, 6)
        true = np.hypot(bound, play)
        half = [
            Group(
                1.0,
                list(error[part]),
                [row[1] for row in fits[part]],
                [row[2] for row in fits[part]],
            )
            for part in (slice(0, 3), slice(3, 6))
        ]
        log = SimpleNamespace(variance=true**2 * rng.chisquare(20) / 20, degrees_of_freedom=20.0)
        both = [Group(0.5, g.slopes, g.standard_uncertainties, g.degrees_of_freedom) for g in half]
        for key, groups, pool in (("3", half[:1], None), ("pooled", half[1:], log), ("3+3", both, None)):
            u, unlike = interval(groups, pool)
            value = sum(g.weight * float(np.mean(g.slopes)) for g in groups)
            sweeps = 6 if key == "3+3" else 3
            held[key].append(abs(value) <= u)
            if pool is not None:
                asked.append(unlike)
            if not unlike:  # with the log set aside it is the width of three sweeps, which is told by itself
                wide[key].append(u / (1.959964 * true / np.sqrt(sweeps)))
    row = {
        "error": rms(ours),
        "least squares": rms(plain),
        "two-point": rms(ends),
        "single": mean(single),
        "single width": mean(single_width),
    }
    for key, answers in held.items():
        row[f"{key} held"] = mean(answers)
        row[f"{key} width"] = mean(wide[key])
    row["asked"] = mean(asked)
    row["refused"] = refused / (6 * trials)
    row["ms"] = spent / (6 * trials) * 1e3
    return row


def rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values else float("nan")


def mean(values: list) -> float:
    return float(np.mean(values)) if values else float("nan")


def steps_refused(trials: int, seed: int) -> float:
    rng = np.random.default_rng([seed, 7])
    surfaces = [step(rng) for _ in range(trials)]
    return mean([fit_sweep(s.travel, s.reading, resolution=s.count).refused is not None for s in surfaces])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=list(CLASSES))
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    rows = {name: one_class(name, options.trials, options.seed) for name in options.only}
    refused = steps_refused(options.trials, options.seed)
    if options.json:
        print(json.dumps({"rows": rows, "steps refused": refused}))
        return
    keys = list(next(iter(rows.values())))
    print(f"{'':16}" + "".join(f"{key:>14}" for key in keys))
    for name, row in rows.items():
        print(f"{name:16}" + "".join(f"{row[key]:14.3f}" for key in keys))
    print(f"steps of 0.008 to 0.5 mm in mid-sweep refused: {refused:.3f}")


if __name__ == "__main__":
    main()
