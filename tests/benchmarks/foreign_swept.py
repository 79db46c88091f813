"""Recorded files of the swept checks made by other hands: fence-square, slot-blade, rip-fence, fence-straight.

Each draws bodies, turns them, and meets them along the plunger's axis; the truth is how the bodies were turned.
May import: numpy, scipy, foreign_hands. Lengths in mm, angles in rad.
"""

from __future__ import annotations

import numpy as np
from foreign_hands import Array, Case, Gauge, Rng, dirt, pushed, slope_sd, swept_file, texture
from scipy.optimize import linprog


def depth_of(angle: float, form: Array, s: Array, *, right: bool, standing: bool, x0: float = 0.0) -> Array:
    """How deep an edge pushes the plunger, from points of the edge turned by `angle`.

    The edge runs along +Y before it is turned; `form` is how far it stands proud to the right, at the places s of
    the travel. Standing: the edge is carried by +s past a fixed plunger. Carried: the plunger walks by +s.
    """
    along = -s if standing else s  # which place of the edge is met
    points = np.stack([form, along])
    c, n = np.cos(angle), np.sin(angle)
    x = c * points[0] - n * points[1] + x0
    # the plunger's axis lies along X at a height where that place of the edge now is, to first order in the form
    return x if right else -x


def fence_square(rng: Rng) -> Case:
    tags: set[str] = set()
    g = Gauge.drawn(rng)
    a = rng.uniform(-8e-4, 8e-4)
    e = rng.normal(0, 8e-5)
    seat = rng.choice([0.0, 10e-6, 25e-6, 50e-6])
    length = float(rng.choice([120, 160, 220, 220, 300]))
    counts = [int(n) for n in rng.choice([1, 2, 3, 3, 3, 4, 6], 2)]
    if rng.uniform() < 0.6:
        counts[1] = counts[0]
    if counts == [1, 1]:
        tags.add("one push")
    creep = rng.choice([0.0, 0.0, 0.0, 2e-6])  # mm a mm of way, of the stand
    pulls = bool(rng.uniform() < 0.4) or creep > 0
    if creep:
        tags.add("creep")
    rough, reach = rng.choice([0.0, 0.0, 0.003]), rng.uniform(3, 12)
    if rough:
        tags.add("texture")
    bow = rng.choice([0.0, 0.0, 0.01, 0.02])
    out = swept_file(rng, g)
    order = [0, 1] if rng.uniform() < 0.7 else [1, 0]
    if order == [1, 0]:
        tags.add("right first")
    variances = []
    number = 0
    pitch = np.arange(-10.0, length + 10.0, 0.5)
    roughness = texture(rng, pitch, rough, reach)
    # the line of the edge over that stretch is the square's, rough places and all
    inside = (pitch >= 0) & (pitch <= length)
    of_edge = float(np.polyfit(pitch[inside], roughness[inside], 1)[0])
    style_tags: set[str] = set()
    for k in order:
        name = ("handle-left", "handle-right")[k]
        # the handle along the fence, the arm off it by 90 deg + e through the square's body
        handle = a + (np.pi if k == 0 else 0.0)
        arm = handle - (np.pi / 2 + e) if k == 0 else handle + (np.pi / 2 + e)
        angle = arm - np.pi / 2
        sd2 = []
        for _ in range(counts[k]):
            number += 1
            t, s = pushed(rng, length, style_tags)
            lean = rng.normal(0, seat) if seat else 0.0
            flip = 1.0 if k == 0 else -1.0  # the same edge faces the other way once turned over
            form = np.interp(s, pitch, flip * roughness) + flip * bow * (1 - (2 * s / length - 1) ** 2)
            d = (
                depth_of(angle + lean, form, s, right=k == 0, standing=True, x0=rng.uniform(-0.02, 0.02))
                + 3.0
            )
            d = d + dirt(rng, s, tags) + creep * s
            out.add(f"{number},{name}", s + rng.choice([0.0, 12.0]), g.read(rng, d), t)
            sd2.append(seat**2 + slope_sd(s, g.single) ** 2)
            if pulls:
                number += 1
                back = depth_of(angle + lean + rng.normal(0, seat), form, s, right=k == 0, standing=True)
                d = (back + 3.0 + creep * (2 * length - s))[::-1]
                out.add(f"{number},{name}", s[::-1], g.read(rng, d), t)
        variances.append(float(np.mean(sd2)) / counts[k])
    tags |= style_tags
    shared = g.end_error / np.sqrt(2) / length
    ideal = 1.96 * np.sqrt(0.25 * sum(variances) + shared**2)
    return Case(
        "fence-square", out.text, {"fence": a, "square": e - of_edge}, {"fence": ideal, "square": ideal}, tags,
        count=g.count if rng.uniform() < 0.5 else None, limit=0.05 / 300,
        way=("left end too near" if a > 0 else "left end too far") if abs(a) > 1e-4 else None,
    )  # fmt: skip


def slot_blade(rng: Rng) -> Case:
    return _one_spot(rng) if rng.uniform() < 0.6 else _turns(rng)


def _one_spot(rng: Rng) -> Case:
    g = Gauge.drawn(rng)
    b = rng.uniform(-6e-4, 6e-4)
    apart, float_ = float(rng.choice([120, 160, 200])), rng.choice([0.0, 0.002, 0.004])
    slot = str(rng.choice(["right", "left"]))
    start = rng.uniform(0, 40)
    touches, lift = int(rng.choice([3, 3, 5])), rng.choice([0.0, 0.001, 0.003])
    out = swept_file(rng, g)
    off, turned = rng.uniform(-0.2, 0.2), np.array([[np.cos(b), -np.sin(b)], [np.sin(b), np.cos(b)]])
    ends = (("front", -apart / 2), ("rear", apart / 2))
    by_turns = bool(rng.uniform() < 0.5)
    rounds, each = (touches, 1) if by_turns else (1, touches)
    for n, (name, half) in enumerate(ends * rounds):
        x = float((turned @ np.array([off, half]))[0]) + rng.uniform(-float_, float_)
        depth = (x if slot == "right" else -x) + 2.0 + rng.normal(0, lift, each)
        out.add(f"{n + 1},{name}", np.full(each, start + (0 if half < 0 else apart)), g.read(rng, depth))
    sd = (
        np.sqrt(2 * (np.hypot(g.single, lift) ** 2 / touches + float_**2 / 3 / rounds) + 2 * g.wave**2 / 2)
        / apart
    )
    way = ("rear leans left" if b > 0 else "rear leans right") if abs(b) > 1.5e-4 else None
    tags = {"one spot", "float" if float_ else "no float", "by turns" if by_turns else "one after the other"}
    return Case(
        "slot-blade",
        out.text,
        {"blade": b},
        {"blade": 1.96 * sd},
        tags,
        {"slot": slot},
        g.count if rng.uniform() < 0.5 else None,
        0.05 / 150,
        way,
    )


def _turns(rng: Rng) -> Case:
    g = Gauge.drawn(rng)
    b, length = rng.uniform(-6e-4, 6e-4), float(rng.choice([100, 140, 180]))
    slot = str(rng.choice(["right", "left"]))
    turns, each = int(rng.choice([4, 4, 6])), int(rng.choice([1, 2, 3]))
    hold = rng.choice([0.0, 10e-6, 30e-6])
    tilt, warp, dish = rng.uniform(0, 0.1), rng.uniform(0, 0.05), rng.uniform(-0.05, 0.05)
    where = rng.uniform(0, 2 * np.pi, 2)
    out, tags, sd2 = swept_file(rng, g), {"turns"}, []
    number = 0
    for k in range(turns):
        turn = 2 * np.pi * k / turns
        for _ in range(each):
            number += 1
            t, s = pushed(rng, length, tags)
            radius, phi = np.abs(s - length / 2), np.where(s > length / 2, 0, np.pi)
            full = length / 2
            form = tilt / 2 * radius / full * np.cos(phi + turn + where[0])
            form = (
                form
                + warp / 2 * (radius / full) ** 2 * np.cos(2 * (phi + turn) + where[1])
                + dish * (radius / full) ** 2
            )
            d = depth_of(b + rng.normal(0, hold), form, s, right=slot == "right", standing=False)
            out.add(f"{number},turn-{360 * k // turns}", s, g.read(rng, d + 2.5), t)
            sd2.append(hold**2 + slope_sd(s, g.single) ** 2)
    sd = np.sqrt(np.mean(sd2) / number + (g.wave / np.sqrt(2) / length / np.sqrt(turns)) ** 2)
    way = ("rear leans left" if b > 0 else "rear leans right") if abs(b) > 1.5e-4 else None
    return Case(
        "slot-blade",
        out.text,
        {"blade": b},
        {"blade": 1.96 * sd},
        tags,
        {"slot": slot},
        g.count if rng.uniform() < 0.5 else None,
        0.05 / 150,
        way,
    )


def rip_fence(rng: Rng) -> Case:
    tags: set[str] = set()
    g = Gauge.drawn(rng)
    b, blade = rng.uniform(-5e-4, 5e-4), rng.uniform(-2e-4, 2e-4)
    length, hold, number = (
        float(rng.choice([200, 300, 500])),
        rng.choice([0.0, 10e-6, 30e-6]),
        int(rng.choice([1, 2, 3, 3, 5])),
    )
    if number == 1:
        tags.add("one push")
    bow = rng.choice([0.0, 0.02, 0.05])
    out, sd2 = swept_file(rng, g), []
    for k in range(number):
        t, s = pushed(rng, length, tags)
        form = bow * (1 - (2 * s / length - 1) ** 2)
        d = depth_of(b + rng.normal(0, hold), form, s, right=False, standing=False) + dirt(rng, s, tags)
        out.add(f"{k + 1},-", s, g.read(rng, d + 2.0), t)
        sd2.append(hold**2 + slope_sd(s, g.single) ** 2)
        if rng.uniform() < 0.3:
            out.add(f"b{k + 1},-", s[::-1], g.read(rng, d[::-1] + 2.0), t)
    ideal = 1.96 * np.sqrt(np.mean(sd2) / number + (g.wave / length) ** 2)
    truths, options = {"rip-fence": b}, {}
    if rng.uniform() < 0.6:
        truths["toe"], options["blade"] = b - blade, blade
    return Case(
        "rip-fence",
        out.text,
        truths,
        dict.fromkeys(truths, ideal),
        tags,
        options,
        g.count if rng.uniform() < 0.5 else None,
        None,
        None,
    )


def fence_straight(rng: Rng) -> Case:
    tags: set[str] = set()
    g = Gauge.drawn(rng)
    low, high = -25.0 * rng.integers(8, 19), 25.0 * rng.integers(8, 19)
    u = np.linspace(-1, 1, 2001)
    size = rng.choice([0.0, 0.01, 0.03, 0.08])
    face = size * (
        rng.normal() * (1 - u**2)
        + 0.5 * rng.normal() * (u**3 - 0.6 * u)
        + 0.3 * rng.normal() * np.cos((high - low) / 350 * np.pi * u)
    )  # what is shorter is averaged away
    edge = rng.choice([0.005, 0.03]) * (
        rng.normal() * (1 - u**2) + 0.4 * rng.normal() * np.sin(2 * np.pi * u)
    )
    counts = [int(rng.choice([1, 2, 3, 3]))] * 2
    if counts[0] == 1:
        tags.add("one push")
    hand = rng.choice([0.0, 0.001, 0.003])  # mm of bend by which passes differ
    tags |= {f"bend {hand}", f"{counts[0]} passes", f"form {size}", f"count {g.count}"}
    out, number = swept_file(rng, g), 0
    xs = low + (high - low) * (u + 1) / 2
    for sign, name, n in ((1, "as-is", counts[0]), (-1, "rolled-over", counts[1])):
        lie = rng.uniform(-4e-4, 4e-4)
        for _ in range(n):
            number += 1
            t, s = pushed(rng, high - low, tags)
            x = s + low
            v = (x - low) / (high - low) * 2 - 1
            d = (
                np.interp(x, xs, face)
                + sign * np.interp(x, xs, edge)
                + lie * x
                + hand * rng.normal() * (1 - v**2)
            )
            out.add(f"{number},{name}", x, g.read(rng, d + 3.0 + dirt(rng, x, tags)), t)
    truths = {
        "minimum-zone": zone(u, face),
        "least-squares": float(np.ptp(face - np.polyval(np.polyfit(u, face, 1), u))),
    }
    truths["bow"] = float(-np.polyfit(u, face, 2)[0])
    # with everything known: the passes' own bend, averaged readings over a tenth of the length, the gauge's wave
    sd = np.sqrt(hand**2 / sum(counts) + 2 * g.single**2 / 10 / sum(counts) + g.wave**2 / 2)
    ideals = dict.fromkeys(truths, 1.96 * float(sd))
    way = ("crown" if truths["bow"] > 0 else "hollow") if abs(truths["bow"]) > 0.03 else None
    return Case(
        "fence-straight",
        out.text,
        truths,
        ideals,
        tags,
        {"straight": 0.05},
        g.count if rng.uniform() < 0.5 else None,
        0.05,
        way,
    )


def zone(u: Array, y: Array) -> float:
    """Minimum zone by linear programming on every tenth point: least h with |y - p - q u| <= h/2."""
    x, z = u[::10], y[::10]
    one = np.ones(x.size)
    upper = np.column_stack([-one, -x, -one / 2])
    lower = np.column_stack([one, x, -one / 2])
    found = linprog(
        [0, 0, 1],
        A_ub=np.vstack([upper, lower]),
        b_ub=np.concatenate([-z, z]),
        bounds=[(None, None)] * 2 + [(0, None)],
    )
    return float(found.fun)
