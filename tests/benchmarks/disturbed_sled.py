"""Recorded files of play, straightness, fit and the test board with disturbances that no model of the program draws.

A straightedge that bends alike under the hand, spots read beside their place, runners that are leaned while they are
twisted, sawn edges that stand off their line. Each function gives one case of its class, with the half-width that one
who knew every size would state. May import: numpy, foreign_hands, foreign_spots, foreign_swept, disturbed_blade.
Lengths in mm, angles in rad.
"""

from __future__ import annotations

import numpy as np
from disturbed_blade import Make, gauge
from foreign_hands import Case, File, Rng, swept_file
from foreign_spots import runner_fit, strip
from foreign_swept import fence_straight, zone

RUNNER = 450.0
BY_EYE = 15.0  # mm either way, a place by eye; common practice, no source
USUAL_CUT = 100e-6  # rad, sd of a cut's direction where nothing is known of it; common practice, no source
USUAL_BEND = 0.005  # mm, sd of a straightedge's bend where nothing is known of it; common practice, no source


def side_play(
    at: float,
    hand: float,
    off: float = 0.0,
    *,
    leaned: bool = False,
    said: bool = True,
    within: float | None = None,
) -> Make:
    """hand: sd of a lean; off: sd of the twist's place; leaned: pressed at the place, not only twisted about the
    middle; said: whether the runner's length is; within: mm either way to which the place is declared."""

    def make(rng: Rng) -> Case:
        g, clearance, times = gauge(rng), rng.uniform(0.05, 0.2), 5
        yaw, out, number = 2 * clearance / RUNNER, swept_file(rng, g), 0
        where = abs(at) + rng.normal(0, off)
        swing = max(yaw * where / 2, clearance / 2 if leaned else 0.0)
        spots = (
            ("leaned-left", -clearance / 2, 0.0),
            ("leaned-right", clearance / 2, 0.0),
            ("twisted-left", -swing, at),
            ("twisted-right", swing, at),
        )
        for name, x, place in spots:
            for _ in range(times):
                number += 1
                out.add(
                    f"{number},{name}",
                    np.array([place]),
                    g.read(rng, np.array([2.0 + x + rng.normal(0, hand)])),
                )
        one = float(np.sqrt(2 * np.hypot(hand, g.single) ** 2 / times + g.wave**2))
        ideal = 1.96 * float(np.hypot(one, swing * 2 * off / abs(at))) / abs(at)
        truths = {"side-play": clearance, "yaw-play": yaw}
        options: dict[str, object] = {"runner_length": RUNNER} if said else {}
        if within is not None:
            options["place_error"] = within
        ideals = {"side-play": 1.96 * one, "yaw-play": ideal}
        case = Case("side-play", out.text, truths, ideals, options=options)
        reach = abs(at)
        rough = (BY_EYE if within is None else within) / np.sqrt(3)
        # whether a sled was twisted or shifted bodily nearer than half its runner's length, nobody sees
        lever = yaw * abs(1 - RUNNER / 2 / reach) / np.sqrt(12) if reach < RUNNER / 2 else 0.0
        known = np.linalg.norm([one / reach, yaw * rough / reach, lever])
        case.knowable = {"yaw-play": 1.96 * float(known)}
        return case

    return make


def straight(
    bend: float,
    hand: float,
    options: dict[str, object],
    crown: float = 0.03,
    *,
    pressed: bool = False,
    blocks: float = 600.0,
) -> Make:
    """bend: mm at the middle by which the straightedge gives way in every pass alike, toward the face or off it.

    pressed: two more passes with the whole hand. blocks: mm that they stand apart.
    """

    def make(rng: Rng) -> Case:
        g, (low, high) = gauge(rng), (-300.0, 300.0)
        u = np.linspace(-1, 1, 2001)
        face = crown * (rng.normal() * (1 - u**2) + 0.5 * rng.normal() * (u**3 - 0.6 * u))
        edge = 0.01 * (rng.normal() * (1 - u**2) + 0.4 * rng.normal() * np.sin(2 * np.pi * u))
        # a load that moves along a beam on two blocks
        gives = bend * float(rng.choice([-1, 1])) * (1 - (u * (high - low) / blocks) ** 2) ** 2
        xs, out, number = low + (high - low) * (u + 1) / 2, swept_file(rng, g), 0
        harder = 4.5 * 1.35 ** rng.normal()  # than with two fingers; invented
        for sign, name, times, force in (
            (1, "as-is", 3, 1.0),
            (1, "pressed", 2 if pressed else 0, harder),
            (-1, "rolled-over", 3, 1.0),
        ):
            lie = rng.uniform(-3e-4, 3e-4)
            for _ in range(times):
                number += 1
                x = np.round(np.linspace(low, high, 240), 2)
                form = face + sign * edge + force * gives + hand * rng.normal() * (1 - u**2)
                out.add(f"{number},{name}", x, g.read(rng, np.interp(x, xs, form) + lie * x + 3.0))
        truths = {
            "minimum-zone": zone(u, face),
            "least-squares": float(np.ptp(face - np.polyval(np.polyfit(u, face, 1), u))),
            "bow": float(-np.polyfit(u, face, 2)[0]),
        }
        noise = hand**2 / 6 + 2 * g.single**2 / 10 / 6 + g.wave**2 / 2
        ideals = dict.fromkeys(truths, 1.96 * float(np.sqrt(noise + bend**2)))
        case = Case(
            "fence-straight", out.text, truths, ideals, options={"straight": 0.05, **options}, limit=0.05
        )
        if not options and not pressed:
            case.knowable = dict.fromkeys(truths, 1.96 * float(np.sqrt(noise + USUAL_BEND**2)))
        return case

    return make


def board(
    usual: float,
    edge: float,
    log: dict[str, float] | None,
    options: dict[str, object] | None = None,
    *,
    spread: float = 1.0,
) -> Make:
    """usual: sd of a cut's direction; edge: sd of the sawn edge at a width; log: what is known of the sled.

    spread: the factor by which that sd is another from case to case.
    """

    def make(rng: Rng) -> Case:
        a, n, apart, times, hand = rng.uniform(-6e-4, 6e-4), 4, 370.0, 3, 0.006
        scatter = usual * spread ** rng.normal()
        cuts = a + rng.normal(0, scatter, n)
        near, far = strip(float(np.mean(cuts)), rng.uniform(22, 32), apart, "left")
        out = File("end", "width{1}", False, False)
        rows = [out.lines[0]]
        for name, w in (("near", near), ("far", far)):
            stands = rng.normal(0, edge)
            for _ in range(times):
                rows.append(f"{name},{round((w + stands + rng.normal(0, hand)) / 0.01) * 0.01:.3f}")
        reading = 2 * ((hand**2 + 0.01**2 / 12) / times + edge**2) / (n * apart) ** 2
        ideal = 1.96 * float(np.sqrt(reading + scatter**2 / n))
        given = {"apart": apart, "kept": "left", "turns": n, **(options or {})}
        case = Case("test-board", "\n".join(rows) + "\n", {"board": a}, {"board": ideal}, options=given)
        case.log = dict(log or {})
        if "passes" in case.log:  # 34 earlier passes, their scatter as it came out
            case.log["passes"] = scatter**2 * float(rng.chisquare(34)) / 34
        case.limit = 0.05 / 300
        if not log and not options:
            case.knowable = {"board": 1.96 * float(np.sqrt(reading + USUAL_CUT**2 / n))}
        return case

    return make


CLASSES: dict[str, dict[str, Make]] = {
    "side-play": {
        "twisted at 250": side_play(250.0, 0.003),
        "twisted at 250, place off by 5": side_play(250.0, 0.002, 5.0),
        "twisted at 250, place off by 8": side_play(250.0, 0.001, 8.0),
        "twisted at 300, place off by 10": side_play(300.0, 0.003, 10.0),
        "twisted at 250, place within 3 mm": side_play(250.0, 0.003, 1.5, within=3.0),
        "twisted at 250, place off by 8, said": side_play(250.0, 0.001, 8.0, within=14.0),
        "twisted at 160 only": side_play(160.0, 0.003),
        "pressed at 160": side_play(160.0, 0.003, leaned=True),
        "pressed at 200, runner not said": side_play(200.0, 0.003, leaned=True, said=False),
        "twisted at 200, runner not said": side_play(200.0, 0.003, said=False),
    },
    "test-board": {
        "nothing known, 25 urad": board(25e-6, 0.01, None),
        "nothing known, 100 urad": board(100e-6, 0.01, None),
        "nothing known, 50 urad": board(50e-6, 0.01, None),
        "nothing known, 30 to 200 urad": board(75e-6, 0.01, None, spread=1.6),
        "scatter said, 25 urad": board(25e-6, 0.01, None, {"cut_scatter": 25e-6}),
        "log's passes, 25 urad": board(25e-6, 0.01, {"passes": 1.0}),
        "log's passes, 60 urad, play known": board(60e-6, 0.01, {"passes": 1.0, "yaw_play": 3e-4}),
        "held, nothing known, 60 urad": board(60e-6, 0.01, None, {"hold": "left"}),
        "held, log's passes, 60 urad": board(60e-6, 0.005, {"passes": 1.0}, {"hold": "left"}),
    },
    "fence-straight": {
        "nothing bends": straight(0.0, 0.001, {}),
        "bends alike by 8 um": straight(0.008, 0.001, {}),
        "bends alike by 4 um": straight(0.004, 0.001, {}),
        "nothing bends, pressed": straight(0.0, 0.001, {}, pressed=True),
        "bends by 8 um, pressed": straight(0.008, 0.001, {}, pressed=True),
        "bends by 3 um, pressed, blocks 900 apart": straight(
            0.003, 0.001, {}, pressed=True, blocks=900.0
        ),
        "bends by 8 um, size said": straight(
            0.008, 0.001, {"straightedge_thick": 17.5, "straightedge_high": 30.0, "straightedge_span": 600.0}
        ),
        "bends by 0.6 um, stiff, size said": straight(
            0.0006, 0.001, {"straightedge_thick": 41.5, "straightedge_high": 30.0, "straightedge_span": 600.0}
        ),
        "as other hands made them": fence_straight,
    },
    "runner-fit": {"as other hands made them": runner_fit},
}  # fmt: skip
