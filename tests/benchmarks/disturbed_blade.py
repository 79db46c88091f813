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
FLOATS = 0.01, 0.005  # mm either way that a slid carriage and an arbor may float; common practice, no source
WARP = 0.03  # mm, full range of a plate's warp where nothing is known of it; common practice, no source
TO_MARK = 0.015  # rad, sd with which a hand stops at a pencil mark; common practice, no source
USUAL_HOLD = 20e-6  # rad, sd of a pass's direction where nothing is known of it; common practice, no source


def gauge(rng: Rng) -> Gauge:
    """A micrometre indicator, a little better or worse from case to case."""
    return Gauge(
        0.001, rng.uniform(0.0006, 0.0015), 0.0003, 0.8, rng.uniform(0, 6.3), rng.uniform(-0.005, 0.005)
    )


def one_spot(
    order: str,
    touches: int,
    station: Callable[[Rng], float],
    sd: float,
    drift: float = 0.0,
    *,
    said: float | None = None,
) -> Make:
    """order: f and r, each a visit to which the indicator is slid; station: where it then comes to rest; sd: its.

    said: mm either way by which carriage and arbor are declared to float together.
    """

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
        case = Case(
            "slot-blade", out.text, {"blade": b}, {"blade": ideal}, options={"slot": slot}, limit=0.05 / 150
        )
        if said is not None:
            case.options |= {"carriage_float": said, "end_float": 0.0}
        elif visits == 1:  # nothing in the file tells a float: no more is known than how large one may be
            sizes = [g.single / np.sqrt(touches), g.wave / np.sqrt(2), *(m / np.sqrt(3) for m in FLOATS)]
            case.knowable = {"blade": 1.96 * float(np.sqrt(2) * np.linalg.norm(sizes)) / APART}
        return case

    return make


def still(rng: Rng) -> float:
    return 0.0


def normal(sd: float) -> Callable[[Rng], float]:
    return lambda rng: float(rng.normal(0, sd))


def either_way(half: float) -> Callable[[Rng], float]:
    return lambda rng: float(rng.uniform(-half, half))


def sometimes(rng: Rng) -> float:
    """At rest within a few micrometres; one time in five it sticks beside its place."""
    return float(rng.normal(0, 0.012 if rng.uniform() < 0.2 else 0.003))


def turns(
    count: int, each: int, usual: float, third: float = 0.0, *, spread: float = 1.0, log: bool = False
) -> Make:
    """Sweeps over the blade body; usual: sd by which a sweep's direction differs; third: mm of three waves.

    spread: the factor by which that sd is another from case to case. log: earlier passes show it.
    """

    def make(rng: Rng) -> Case:
        g, b, length = gauge(rng), rng.uniform(-6e-4, 6e-4), 140.0
        hold = usual * spread ** rng.normal()
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
        case = Case("slot-blade", out.text, {"blade": b}, {"blade": 1.96 * float(sd)}, limit=0.05 / 150)
        if log:
            case.log = {"pool": hold**2 * float(rng.chisquare(34)) / 34}
        elif each == 1:  # turns swept once hardly tell the scatter of a pass: what is usual stands for it
            noise = np.sqrt(max(sd**2 - hold**2 / number, 0.0))
            case.knowable = {"blade": 1.96 * float(np.hypot(noise, USUAL_HOLD / np.sqrt(number)))}
        return case

    return make


def plate(
    marks: int,
    times: int,
    warp: float,
    third: float = 0.0,
    lift: float = 0.001,
    more: tuple[float, ...] = (),
    *,
    floats: float = 0.0005,
    again: bool = True,
) -> Make:
    """Truths are of the whole turn, not of the marks. warp, third: full range of two and of three waves, mm.

    more: degrees of marks beside the even ones. floats: sd of the arbor from turning to turning, mm. again: the blade
    is turned to a mark once more for its second reading, and stands a little beside it each time.
    """

    def make(rng: Rng) -> Case:
        g, tilt = gauge(rng), rng.uniform(0.02, 0.12)
        where = rng.uniform(0, 2 * np.pi, 3)

        def rest(turn: Array) -> Array:
            return warp / 2 * np.cos(2 * turn - where[1]) + third / 2 * np.cos(3 * turn - where[2])

        def whole(turn: Array) -> Array:
            return tilt / 2 * np.cos(turn - where[0]) + rest(turn)

        out = swept_file(rng, g)
        for degrees in (*(360 * m / marks for m in range(marks)), *more):
            for k in range(times):
                if k == 0 or again:
                    off, x = rng.normal(0, TO_MARK), rng.normal(0, floats)
                d = whole(np.array([np.radians(degrees) + off])) + x + 1.5 + rng.normal(0, lift, 1)
                out.add(f"{k + 1},turn-{degrees + 360 * k * again:g}", np.zeros(1), g.read(rng, d))
        fine = np.linspace(0, 2 * np.pi, 7200, endpoint=False)
        truths = {
            "total": float(np.ptp(whole(fine))),
            "tilt": tilt,
            "warp": float(np.ptp(rest(fine))),
            "phase": float(where[0]),
        }
        of_turning = np.hypot(floats, TO_MARK * tilt / 2 / np.sqrt(2))
        one = np.hypot(np.hypot(g.single, lift) / np.sqrt(times), of_turning / np.sqrt(times if again else 1))
        swing = 1.96 * float(np.hypot(2 * np.sqrt(2 / marks) * one, g.wave))
        both = 1.96 * float(np.hypot(np.sqrt(8 + 8) / np.sqrt(marks) * one, g.wave))
        ideals = {"total": both, "tilt": swing, "warp": swing, "phase": swing / tilt}
        case = Case("plate-wobble", out.text, truths, ideals, limit=0.05)
        if marks == 4 and not more:  # they may lie at the nodes of a warp, all of them
            unseen = 1.96 * WARP / np.sqrt(3)
            case.knowable = {"warp": np.hypot(swing, unseen), "total": np.hypot(both, unseen / 2)}
        return case

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
        "by turns f r f r f r, 12 um a station": one_spot("frfrfr", 1, normal(0.012), 0.012),
        "by turns f r f r f r, sometimes sticks": one_spot("frfrfr", 1, sometimes, 0.006),
        "by turns f r f r f r, 5 um, creep 0.5 um": one_spot("frfrfr", 1, normal(0.005), 0.005, 0.0005),
        "one after the other, nothing floats": one_spot("fr", 3, still, 0.0),
        "one after the other, 5 um a station": one_spot("fr", 3, normal(0.005), 0.005),
        "one after the other, either way 10 um": one_spot("fr", 3, either_way(0.01), 0.01 / np.sqrt(3)),
        "one after the other, nothing floats, said": one_spot("fr", 3, still, 0.0, said=0.0),
        "one after the other, either way 10 um, said": one_spot(
            "fr", 3, either_way(0.01), 0.01 / np.sqrt(3), said=0.01
        ),
        "one after the other, 2 um a station": one_spot("fr", 3, normal(0.002), 0.002),
        "four turns once, hold 10 urad": turns(4, 1, 10e-6),
        "four turns once, hold 30 urad": turns(4, 1, 30e-6),
        "four turns once, hold 45 urad": turns(4, 1, 45e-6),
        "four turns once, hold 8 to 50 urad": turns(4, 1, 20e-6, spread=1.6),
        "four turns once, hold 10 urad, log": turns(4, 1, 10e-6, log=True),
        "four turns once, hold 40 urad, log": turns(4, 1, 40e-6, log=True),
        "four turns twice, hold 10 urad": turns(4, 2, 10e-6),
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
        "4 marks twice, flat": plate(4, 2, 0.0),
        "4 marks twice, warp 0.03": plate(4, 2, 0.03),
        "4 marks and one between, twice, warp 0.01": plate(4, 2, 0.01, more=(45.0,)),
        "4 marks and one between, twice, warp 0.04": plate(4, 2, 0.04, more=(45.0,)),
        "5 marks twice, warp 0.03": plate(5, 2, 0.03),
        "8 marks twice, warp 0.01, arbor floats 3 um": plate(8, 2, 0.01, floats=0.003),
        "8 marks twice on one turning, arbor floats 3 um": plate(8, 2, 0.01, floats=0.003, again=False),
        "4 marks and one between, twice on one turning": plate(4, 2, 0.01, more=(45.0,), again=False),
    },
    "rip-fence": {
        "3 passes, hold 10 urad": rip_fence(3, 10e-6),
        "6 passes, hold 10 urad": rip_fence(6, 10e-6),
        "6 passes, hold 30 urad": rip_fence(6, 30e-6),
        "6 passes, hold 60 urad": rip_fence(6, 60e-6),
        "3 passes, hold 30 urad, opens 80 urad": rip_fence(3, 30e-6, opening=80e-6),
        "6 passes, hold 30 urad, opens 80 urad": rip_fence(6, 30e-6, opening=80e-6),
    },
}  # fmt: skip
__all__ = ["CLASSES", "File", "Make"]
