"""Recorded files of the blade, its plate and the rip fence with disturbances that no model of the program draws.

Bodies are turned as points, arbor and carriage float, hands hold anew, plates are warped in three ways. Each function
gives one case of its class, with the half-width that one who knew every size would state. May import: numpy,
foreign_hands, foreign_swept. Lengths in mm, angles in rad.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from foreign_hands import Array, Case, File, Gauge, Rng, slope_sd, swept_file
from foreign_swept import depth_of

Make = Callable[[Rng], Case]
APART = 160.0  # mm between front and rear


def gauge(rng: Rng) -> Gauge:
    """A micrometre indicator, a little better or worse from case to case."""
    return Gauge(
        0.001, rng.uniform(0.0006, 0.0015), 0.0003, 0.8, rng.uniform(0, 6.3), rng.uniform(-0.005, 0.005)
    )


def one_spot(
    order: str, touches: int, station: Callable[[Rng], float], sd: float, drift: float = 0.0
) -> Make:
    """order: f and r, each a visit to which the indicator is slid; station: where it then comes to rest; sd: its."""

    def make(rng: Rng) -> Case:
        g, b = gauge(rng), rng.uniform(-6e-4, 6e-4)
        slot = str(rng.choice(["right", "left"]))
        out = swept_file(rng, g)
        turned = np.array([[np.cos(b), -np.sin(b)], [np.sin(b), np.cos(b)]])
        for n, end in enumerate(order):
            y = APART / 2 if end == "r" else -APART / 2
            x = float((turned @ np.array([0.1, y]))[0]) + station(rng)
            depth = (x if slot == "right" else -x) + 2.0 + drift * n + np.zeros(touches)
            place = np.full(touches, 10.0 + (APART if end == "r" else 0.0))
            out.add(f"{n + 1},{'rear' if end == 'r' else 'front'}", place, g.read(rng, depth))
        visits, each = len(order) / 2, np.hypot(sd, g.single / np.sqrt(touches))
        ideal = 1.96 * float(np.sqrt(2) * np.hypot(each / np.sqrt(visits), g.wave / np.sqrt(2))) / APART
        return Case(
            "slot-blade", out.text, {"blade": b}, {"blade": ideal}, options={"slot": slot}, limit=0.05 / 150
        )

    return make


def still(rng: Rng) -> float:
    return 0.0


def normal(sd: float) -> Callable[[Rng], float]:
    return lambda rng: float(rng.normal(0, sd))


def either_way(half: float) -> Callable[[Rng], float]:
    return lambda rng: float(rng.uniform(-half, half))


def turns(count: int, each: int, hold: float, third: float = 0.0) -> Make:
    """Sweeps over the blade body; hold: sd by which a sweep's direction differs; third: mm of three waves."""

    def make(rng: Rng) -> Case:
        g, b, length = gauge(rng), rng.uniform(-6e-4, 6e-4), 140.0
        tilt, warp, dish = rng.uniform(0, 0.1), rng.uniform(0, 0.04), rng.uniform(-0.03, 0.03)
        where = rng.uniform(0, 2 * np.pi, 3)
        out, variances, number = swept_file(rng, g), [], 0
        for k in range(count):
            turn = 2 * np.pi * k / count
            for _ in range(each):
                number += 1
                s = np.round(np.linspace(0, length, 120), 2)
                radius = np.abs(s - length / 2) / (length / 2)
                phi = np.where(s > length / 2, 0, np.pi) + turn
                form = tilt / 2 * radius * np.cos(phi + where[0]) + dish * radius**2
                form = form + warp / 2 * radius**2 * np.cos(2 * phi + where[1])
                form = form + third / 2 * radius**3 * np.cos(3 * phi + where[2])
                d = depth_of(b + rng.normal(0, hold), form, s, right=True, standing=False)
                out.add(f"{number},turn-{360 * k / count:g}", s, g.read(rng, d + 2.5))
                variances.append(hold**2 + slope_sd(s, g.single) ** 2)
        sd = np.sqrt(np.mean(variances) / number + (g.wave / length / np.sqrt(count)) ** 2)
        return Case("slot-blade", out.text, {"blade": b}, {"blade": 1.96 * float(sd)}, limit=0.05 / 150)

    return make


def plate(marks: int, times: int, warp: float, third: float = 0.0, lift: float = 0.001) -> Make:
    """Truths are of the whole turn, not of the marks. warp, third: full range of two and of three waves, mm."""

    def make(rng: Rng) -> Case:
        g, tilt = gauge(rng), rng.uniform(0.02, 0.12)
        where = rng.uniform(0, 2 * np.pi, 3)

        def rest(turn: Array) -> Array:
            return warp / 2 * np.cos(2 * turn - where[1]) + third / 2 * np.cos(3 * turn - where[2])

        def whole(turn: Array) -> Array:
            return tilt / 2 * np.cos(turn - where[0]) + rest(turn)

        out = swept_file(rng, g)
        for m in range(marks):
            for k in range(times):
                d = whole(np.array([2 * np.pi * m / marks])) + 1.5 + rng.normal(0, lift, 1)
                out.add(f"{k + 1},turn-{360 * m / marks:g}", np.zeros(1), g.read(rng, d))
        fine = np.linspace(0, 2 * np.pi, 7200, endpoint=False)
        truths = {
            "total": float(np.ptp(whole(fine))),
            "tilt": tilt,
            "warp": float(np.ptp(rest(fine))),
            "phase": float(where[0]),
        }
        one = np.hypot(g.single, lift) / np.sqrt(times)
        swing = 1.96 * float(np.hypot(2 * np.sqrt(2 / marks) * one, g.wave))
        both = 1.96 * float(np.hypot(np.sqrt(8 + 8) / np.sqrt(marks) * one, g.wave))
        ideals = {"total": both, "tilt": swing, "warp": swing, "phase": swing / tilt}
        return Case("plate-wobble", out.text, truths, ideals, limit=0.05)

    return make


def rip_fence(passes: int, hold: float, *, opening: float | None = None) -> Make:
    """opening: rad that it opens, of a saw's limit of 0.08 per 500; None: anywhere about it."""

    def make(rng: Rng) -> Case:
        g, length = gauge(rng), 500.0
        open_by = rng.uniform(-2e-4, 4e-4) if opening is None else opening
        out, variances = swept_file(rng, g), []
        for k in range(passes):
            s = np.round(np.linspace(0, length, 150), 2)
            form = 0.02 * (1 - (2 * s / length - 1) ** 2)
            d = depth_of(-open_by + rng.normal(0, hold), form, s, right=False, standing=False)
            out.add(f"{k + 1},-", s, g.read(rng, d + 2.0))
            variances.append(hold**2 + slope_sd(s, g.single) ** 2)
        sd = np.sqrt(np.mean(variances) / passes + (g.wave / length) ** 2)
        truths = {"rip-fence": -open_by, "toe": -open_by}
        return Case(
            "rip-fence", out.text, truths, dict.fromkeys(truths, 1.96 * float(sd)), options={"blade": 0.0}
        )

    return make


CLASSES: dict[str, dict[str, Make]] = {
    "slot-blade": {
        "by turns f r f r f r, nothing floats": one_spot("frfrfr", 1, still, 0.0),
        "by turns f r f r f r, 5 um a station": one_spot("frfrfr", 1, normal(0.005), 0.005),
        "by turns f r f r f r, either way 10 um": one_spot("frfrfr", 1, either_way(0.01), 0.01 / np.sqrt(3)),
        "by turns f r f r, 3 touches, 5 um a station": one_spot("frfr", 3, normal(0.005), 0.005),
        "by turns f r f r f r, 5 um, creep 0.5 um": one_spot("frfrfr", 1, normal(0.005), 0.005, 0.0005),
        "one after the other, nothing floats": one_spot("fr", 3, still, 0.0),
        "one after the other, 5 um a station": one_spot("fr", 3, normal(0.005), 0.005),
        "one after the other, either way 10 um": one_spot("fr", 3, either_way(0.01), 0.01 / np.sqrt(3)),
        "four turns once, hold 10 urad": turns(4, 1, 10e-6),
        "four turns once, hold 30 urad": turns(4, 1, 30e-6),
        "four turns thrice, hold 20 urad": turns(4, 3, 20e-6),
        "six turns once, hold 20 urad": turns(6, 1, 20e-6),
        "four turns once, hold 20 urad, three waves": turns(4, 1, 20e-6, 0.01),
    },
    "plate-wobble": {
        "8 marks twice, flat": plate(8, 2, 0.0),
        "8 marks twice, warp 0.03": plate(8, 2, 0.03),
        "8 marks once, warp 0.03": plate(8, 1, 0.03),
        "8 marks once, flat": plate(8, 1, 0.0),
        "6 marks twice, warp 0.03": plate(6, 2, 0.03),
        "12 marks once, warp 0.03": plate(12, 1, 0.03),
        "8 marks twice, warp 0.03, three waves 0.006": plate(8, 2, 0.03, 0.006),
        "4 marks twice, warp 0.01": plate(4, 2, 0.01),
    },
    "rip-fence": {
        "3 passes, hold 10 urad": rip_fence(3, 10e-6),
        "6 passes, hold 10 urad": rip_fence(6, 10e-6),
        "6 passes, hold 30 urad": rip_fence(6, 30e-6),
        "3 passes, hold 30 urad, opens 80 urad": rip_fence(3, 30e-6, opening=80e-6),
        "6 passes, hold 30 urad, opens 80 urad": rip_fence(6, 30e-6, opening=80e-6),
    },
}  # fmt: skip
__all__ = ["CLASSES", "File", "Make"]
