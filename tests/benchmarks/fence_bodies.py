"""Square, sled, slot and stand as bodies that are moved, with disturbances that can be switched on one by one.

Nothing here knows the program: the sled is a rigid body turned about the centre of its slot's arc, the edge a line of
points in it, the plunger's axis a line in the table, and the truth is the path of a tooth through the sled. May import:
numpy. Lengths in mm, angles in rad; right +X, away +Y, counter-clockwise positive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Rng = np.random.Generator
Array = np.ndarray
ARM, PUSH, TIP = 300.0, 220.0, 15.0  # arm, push, from the arm's tip to the plunger at the start
TOUCH = 285.0  # Y of plunger and teeth, from the corner of the square, which lies at the runners' middle
READINGS = 110


@dataclass(frozen=True)
class Hands:
    """What every saw has: standard deviations of seat and hold from pass to pass, of the edge's texture (over
    `reach`), of a reading; grains of dust expected; s by which readings come late."""

    seat: float = 20e-6
    hold: float = 20e-6
    texture: float = 0.002
    reach: float = 8.0
    noise: float = 0.0005
    dust: float = 0.6
    late: float = 0.005
    count: float = 0.001
    passes: tuple[int, int] = (3, 3)


@dataclass(frozen=True)
class Disturbed:
    """What the base has not; 0 is off."""

    set_up: float = 0.0  # sd of what differs between set-ups, each on its own
    day_set_up: float = 0.0  # the same of all checks of one day
    checks_a_day: int = 1  # in the log
    back_yaw: float = 0.0  # rad by which the sled lies otherwise in its slots when drawn back
    creep: float = 0.0  # mm a mm of way, of the stand
    creep_first: float = 0.0  # the same in the first set-up only
    creep_fades: float = 1.0  # of the creep, what is left in the next pass of the first set-up
    shifted: float = 0.0  # sd in mm of the stand along the arm, when turned over
    bow: float = 0.0  # mm over the push, of the arm
    curvature: float = 0.0  # 1/mm of the slot
    dent: float = 0.0  # mm deep, where the push ends
    dent_long: float = 25.0  # mm
    off_plane: float = 0.0  # mm by which the plunger touches above the arm's plane, while the sled rolls
    roll: float = 0.0  # rad over the push
    tilt: float = 0.0  # rad, of the plunger
    gain: float = 0.0  # relative
    history: int = 0  # earlier findings in the log
    calm_history: bool = False  # in which the disturbance between set-ups was there too, unless calm
    yaw_play: float | None = None  # rad, known from side-play
    told: bool = False  # what of it can be declared is declared


@dataclass
class Saw:
    a: float
    e: float
    form: Array  # proud of the edge, by mm from the corner
    places: Array
    curvature: float


def draw(rng: Rng, hands: Hands, d: Disturbed) -> Saw:
    places = np.arange(-40.0, ARM + 40.0, 0.5)
    kernel = np.exp(-0.5 * (np.arange(-48, 49) * 0.5 / (hands.reach / 2)) ** 2)
    rough = np.convolve(rng.standard_normal(places.size + 96), kernel, "valid") / np.sqrt(np.sum(kernel**2))
    middle = ARM - TIP - PUSH / 2
    form = hands.texture * rough + d.bow * (1 - ((places - middle) / (PUSH / 2)) ** 2)
    far = ARM - TIP - PUSH  # what the plunger rides on at the end of a push
    form = form - d.dent * ((places >= far) & (places < far + d.dent_long))
    return Saw(rng.uniform(-8e-4, 8e-4), rng.normal(0, 8e-5), form, places, d.curvature)


def moved(points: Array, s: Array, curvature: float, x: float, yaw: Array | float) -> Array:
    """Points (..., 2) of the sled in the table, pushed by s along its slot, held x to the right and yawed."""
    turned = curvature * s
    if curvature:
        centre = np.array([-1.0 / curvature, 0.0])
        middle = centre + _rotated(-centre, turned)
    else:
        middle = np.stack([np.zeros_like(s), s], -1)
    return _rotated(points, turned + yaw) + middle + np.array([x, 0.0])


def _rotated(points: Array, by: Array | float) -> Array:
    c, s = np.cos(by), np.sin(by)
    return np.stack([c * points[..., 0] - s * points[..., 1], s * points[..., 0] + c * points[..., 1]], -1)


def met(
    saw: Saw, s: Array, *, left: bool, lean: float, along: float, x: float, yaw: Array | float, dust: Array
) -> Array:
    """X of the edge where the plunger's axis meets it, for every s. along: mm by which the stand stands nearer the tip."""
    form = saw.form + dust
    place = TOUCH + along - s
    upright = np.pi / 2 - saw.e
    for _ in range(4):
        proud = np.interp(place, saw.places, form)
        edge = np.stack([place * np.cos(upright) + proud * np.sin(upright),
                         place * np.sin(upright) - proud * np.cos(upright)], -1)  # fmt: skip
        if not left:
            edge = edge * np.array([-1.0, 1.0])
        edge = _rotated(edge, saw.a + lean)
        here = moved(edge, s, saw.curvature, x, yaw)
        place = place + (TOUCH + along - here[:, 1])
    return here[:, 0]


def pushed(rng: Rng) -> tuple[Array, Array]:
    """Times and places of one uneven push."""
    u = np.linspace(0, 1, READINGS)
    speed = 0.15 + np.minimum(1, np.minimum(u, 1 - u) * 10) * (
        1 + 0.15 * np.sin(2 * np.pi * (2 * u + rng.uniform()))
    )
    way = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
    return u * 1.3, way / way[-1] * PUSH


def truth(saw: Saw) -> float:
    """The fence against the line that a tooth, standing in the table, draws through the sled over the same travel."""
    s = np.linspace(0, PUSH, 400)
    tooth = np.array([0.0, TOUCH])
    if saw.curvature:
        centre = np.array([-1.0 / saw.curvature, 0.0])
        path = centre + _rotated(tooth - centre, -saw.curvature * s)
    else:
        path = np.stack([np.zeros_like(s), TOUCH - s], -1)
    leans = -np.polyfit(path[:, 1], path[:, 0], 1)[0]
    return float(saw.a - leans)


def grains(rng: Rng, saw: Saw, expected: float) -> Array:
    out = np.zeros_like(saw.places)
    for _ in range(rng.poisson(expected)):
        at, half, top = rng.uniform(0, ARM), rng.uniform(0.5, 2.0), rng.uniform(0.005, 0.06)
        out += top * np.clip(1 - ((saw.places - at) / half) ** 2, 0, None)
    return out


Pass = tuple[str, bool, Array, Array, Array]  # placement, push, travel, reading, times


def check(rng: Rng, saw: Saw, hands: Hands, d: Disturbed) -> list[Pass]:
    """All passes of one check: pushes and the ways back."""
    out: list[Pass] = []
    for k, name in enumerate(("handle-left", "handle-right")):
        left = k == 0
        whole = rng.normal(0, d.set_up) if d.set_up else 0.0
        whole += rng.normal(0, d.day_set_up) if d.day_set_up else 0.0
        along = rng.normal(0, d.shifted) if d.shifted and not left else 0.0
        creep = d.creep + (d.creep_first if left else 0.0)
        preload = rng.uniform(2.0, 3.0)
        for number in range(hands.passes[k]):
            fades = d.creep_fades**number
            dust, seat = grains(rng, saw, hands.dust), rng.normal(0, hands.seat)
            for push in (True, False):
                at, s = pushed(rng)
                back = 0.0 if push else d.back_yaw
                x, yaw = rng.normal(0, 0.0015), rng.normal(0, hands.hold) + back
                true = np.interp(at - hands.late, at, s)
                if not push:
                    s, true = PUSH - s, PUSH - true
                edge = met(saw, true, left=left, lean=seat + whole, along=along, x=x, yaw=yaw, dust=dust)
                edge = edge + d.off_plane * d.roll * true / PUSH
                depth = preload + (edge if left else -edge)
                depth = depth + creep * fades * (true if push else 2 * PUSH - true)
                depth = preload + (depth - preload) * (1 + d.gain) / np.cos(d.tilt)
                shown = depth + rng.normal(0, hands.noise, s.size)
                out.append((name, push, np.round(s, 2), np.round(shown / hands.count) * hands.count, at))
    return out


def ideal(hands: Hands, d: Disturbed) -> float:
    """Half-width of 95 % of one who knew the size of everything: seat, hold, noise, and what differs between set-ups."""
    single = np.hypot(hands.noise, hands.count / np.sqrt(12))
    s = np.linspace(0, PUSH, READINGS)
    white = single / np.sqrt(np.sum((s - s.mean()) ** 2))
    each = hands.seat**2 + hands.hold**2 + white**2
    rolled = d.off_plane * d.roll / PUSH
    return float(
        1.96
        * np.sqrt(
            0.25 * sum(each / n for n in hands.passes) + (d.set_up**2 + d.day_set_up**2) / 2 + rolled**2
        )
    )
