"""Recorded files made by other hands: mitre-square and upright, a square laid on fences or stood on a table.

Each draws a square as a polygon, turns, mirrors and seats it, and meets its ridden edge along the plunger's axis; which
corner bears where follows from where the body comes to lie. The truth is how fences, faces and plates were turned.
May import: numpy, foreign_hands. Lengths in mm, angles in rad.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from foreign_hands import Array, Case, Gauge, Rng, dirt, pushed, slope_sd, swept_file, texture


def triangle(long: float, e_a: float, e_b: float) -> Array:
    """Corners A, B and C as complex numbers, A and B at the ends of the long edge."""
    a, b = np.pi / 4 + e_a, np.pi / 4 + e_b
    return np.array([0, long, long * np.sin(b) / np.sin(a + b) * np.exp(1j * a)])


def seated(
    corners: Array,
    bears: tuple[int, int],
    line: float,
    normal: complex,
    edge: tuple[int, int],
    lies: str = "",
) -> Array:
    """The square with the leg between two corners on a line through 0, its body on the normal's side, the edge along Y.

    lies: where the leg points, left or right, for where both can be.
    """
    found = []
    for mirror, turn in product((False, True), (0.0, np.pi)):
        here = np.conj(corners) if mirror else corners
        turned = np.exp(1j * (line + turn - np.angle(here[bears[1]] - here[bears[0]])))
        here = here * turned
        here = here - here[bears[0]]
        inside = (here.mean() * np.conj(normal)).real > 0
        upright = abs((here[edge[1]] - here[edge[0]]).real) < 0.02 * abs(here[edge[1]] - here[edge[0]])
        points = "left" if here[bears[1]].real < 0 else "right"
        if inside and upright and lies in ("", points):
            found.append(here)
    assert len(found) == 1
    return found[0]


class Ridden:
    """An edge from one corner to the other with a form of its own, standing proud of the body."""

    def __init__(self, rng: Rng, length: float, bow: float, rough: float) -> None:
        self.u = np.arange(0.0, length, 0.5)
        self.form = bow * (1 - (2 * self.u / length - 1) ** 2) + texture(
            rng, self.u, rough, rng.uniform(3, 12)
        )

    def depth(self, here: Array, edge: tuple[int, int], s: Array, start: float, seat: float) -> Array:
        """How deep it pushes a plunger that stands `start` mm along Y, the sled pushed by s."""
        first, last = here[edge[0]], here[edge[1]]
        along = (last - first) / abs(last - first)
        out = along * -1j if (here.mean() - first).real * (along * -1j).real < 0 else along * 1j
        points = (first + along * self.u + out * self.form) * np.exp(1j * seat)
        order = np.argsort(points.imag)
        x = np.interp(start - s, points.imag[order], points.real[order])
        return x if out.real > 0 else -x


def mitre_square(rng: Rng) -> Case:
    tags: set[str] = set()
    g = Gauge.drawn(rng)
    turned = {"left": rng.uniform(-6e-4, 6e-4), "right": rng.uniform(-6e-4, 6e-4)}
    e_a, e_b = rng.normal(0, 1.2e-4, 2)
    point, near = str(rng.choice(["away", "toward"])), bool(rng.uniform() < 0.7)
    long, length = float(rng.choice([250, 300, 360])), 0.0
    length = float(long - rng.choice([60, 80]))
    seat, times = float(rng.choice([0.0, 10e-6, 25e-6])), int(rng.choice([1, 2, 3, 3, 3, 4]))
    if times == 1:
        tags.add("one push")
    measured = bool(rng.uniform() < 0.75)
    tags |= {"right angle measured" if measured else "right angle told", f"point {point}", f"near {near}"}
    square: dict[str, object] = {"arm": long / np.sqrt(2), "long_edge": long}
    told = 0.0
    if not measured:  # its tolerance is believed, and kept
        told = 0.04 / (long / np.sqrt(2))
        square["tolerance"] = 0.04
        e_b = -e_a - rng.uniform(-told, told)
    corners = triangle(long, e_a, e_b)
    bow = float(rng.choice([0.0, 0.005, 0.01, 0.02])) * rng.choice([-1, 1])
    rough = float(rng.choice([0.0, 0.0, 0.002]))
    hypotenuse, leg = Ridden(rng, long, bow, rough), Ridden(rng, long / np.sqrt(2) - 1, bow / 2, rough)
    off, batten = rng.uniform(-3, 3), rng.uniform(-2e-3, 2e-3)
    out, sd2, number = swept_file(rng, g), [], 0
    names = [f"{f}-fence-corner-{c}" for f in ("left", "right") for c in "ab"]
    names += ["right-angle-left", "right-angle-right"] if measured else []
    styles: set[str] = set()
    for name in names if rng.uniform() < 0.7 else names[::-1]:
        if name.startswith("right-angle"):
            edge, ride, rides = (2, 0), leg, min(length, long / np.sqrt(2) - 50)
            here = seated(corners, (2, 1), batten, 1j, edge, name.rpartition("-")[2])
            start = here[0].imag - 20.0
        else:
            fence, corner = name.partition("-")[0], "ab".index(name[-1])
            line = np.pi / 4 if (fence == "left") == (point == "away") else 3 * np.pi / 4
            normal = np.exp(1j * (line + np.pi / 2))
            normal = normal if (normal.imag > 0) == near else -normal
            edge, ride, rides = (0, 1), hypotenuse, length
            here = seated(corners, (corner, 2), line + turned[fence], normal, edge)
            start = (here[0].imag + here[1].imag) / 2 + rides / 2 + off
        each = []
        for _ in range(times):
            number += 1
            t, s = pushed(rng, rides, styles)
            d = ride.depth(here, edge, s, start, rng.normal(0, seat) if seat else 0.0)
            d = d - d.mean() + 3.0 + dirt(rng, s, tags)
            out.add(f"{number},{name}", s, g.read(rng, d), t)
            each.append(seat**2 + slope_sd(s, g.single) ** 2)
        # in the angle between the fences every set-up weighs a half
        sd2.append(0.25 * (float(np.mean(each)) / times + (g.end_error / rides) ** 2))
    tags |= styles
    first, second = ("left", "right") if point == "away" else ("right", "left")
    between = turned[second] - turned[first]
    form = 16 * abs(bow) * 3 / long**2 / np.sqrt(3)
    fences = np.sqrt(sum(sd2) + (told / np.sqrt(3)) ** 2 + form**2)
    alone = np.sqrt(2 * np.mean(sd2) * 1.25 + (told / np.sqrt(3) / 2) ** 2 + form**2 / 4)
    return Case(
        "mitre-square", out.text, {"between": between, **turned},
        {"between": 1.96 * fences, "left": 1.96 * alone, "right": 1.96 * alone}, tags,
        {"right_angle": "measured" if measured else "known"}, g.count if rng.uniform() < 0.5 else None, 0.05 / 300,
        ("wider" if between > 0 else "tighter") if abs(between) > 1e-4 else None,
        {"fence": "near" if near else "far", "mitre": f"point-{point}"}, square,
    )  # fmt: skip


def upright(rng: Rng) -> Case:
    g = Gauge.drawn(rng)
    near, stands = bool(rng.uniform() < 0.7), str(rng.choice(["right", "left"]))
    leans = {"fence-lean": rng.normal(0, 1.2e-3), "blade-lean": rng.normal(0, 1.2e-3)}
    error, hand = rng.normal(0, 2e-4), float(rng.choice([0.0005, 0.001, 0.002]))
    seat = float(rng.choice([15e-6, 30e-6, 40e-6]))
    times, high = int(rng.choice([3, 3, 5])), float(rng.choice([60.0, 70.0, 90.0]))
    turns = int(rng.choice([2, 4, 4]))
    tilt, warp, where = rng.normal(0, 2e-4), float(rng.choice([0.0, 4e-5, 8e-5])), rng.uniform(0, 2 * np.pi)
    heights = np.array([10.0, high]) if rng.uniform() < 0.7 else np.array([10.0, (10 + high) / 2, high])
    set_ups = [("fence-away", 0.0), ("fence-toward", 0.0)]
    set_ups += [
        ("blade-away", 0),
        ("blade-toward", 180),
        ("blade-away-quarter", 90),
        ("blade-toward-quarter", 270),
    ][:turns]
    out, number = swept_file(rng, g), 0
    for name, turn in set_ups:
        surface = name.partition("-")[0]
        lean = leans[f"{surface}-lean"]
        # seen from the fence's right end, or from the operator: boards, or the square, to the right or the left
        right = near if surface == "fence" else stands == "right"
        if surface == "blade":
            lean += tilt * np.cos(np.radians(turn) + where) + warp * np.cos(2 * np.radians(turn) + where)
        away = "away" in name
        # the stock along +x as it lies, the edge up from its end; turned about the vertical where it points the other way
        edge = np.exp(1j * (np.pi / 2 + error + rng.normal(0, seat)))
        edge = edge if right == away else -np.conj(edge)
        face = np.exp(1j * (np.pi / 2 + lean))
        for z in heights:
            true = z + rng.uniform(-0.5, 0.5)  # a height by a rule
            for _ in range(times):
                number += 1
                gap = (edge.real / edge.imag - face.real / face.imag) * true + (80.0 if right else -80.0)
                depth = 85.0 - abs(gap) + rng.normal(0, hand)
                out.add(f"{number},{name}", np.array([z]), g.read(rng, np.array([depth])))
    reach = high - 10.0
    spread = float(np.sum((heights - heights.mean()) ** 2)) * times
    each = np.hypot(g.single, hand) ** 2 / spread + seat**2 + (g.wave / reach) ** 2
    scale = 0.5 * np.sqrt(2 / 3) / reach
    ideals = {}
    for name, count in (("fence-lean", 2), ("blade-lean", turns)):
        own = warp / np.sqrt(2) if name == "blade-lean" and turns == 2 else 0.0
        ideals[name] = 1.96 * float(
            np.sqrt((each + (scale * (abs(leans[name]) + error)) ** 2) / count + own**2)
        )
    lean = leans["fence-lean"]
    return Case(
        "upright", out.text, leans, ideals, {f"{turns} turns", f"{times} times", f"seat {seat:.0e}", f"count {g.count}"},
        {"stands": stands}, g.count if rng.uniform() < 0.5 else None, 1e-3,
        ("toward you" if lean > 0 else "away from you") if abs(lean) > 3e-4 else None,
        {"fence": "near" if near else "far"},
    )  # fmt: skip
