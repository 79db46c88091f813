"""Every row that a budget can hold: what it is when nothing is said, and where that comes from.

The rows are gathered from the code itself, so that a new one cannot come without its line here; then findings of all
kinds are asked that nothing else is in their budgets.
"""

from __future__ import annotations

import math

import pytest
from source_calls import rows_named

from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge, SquareHistory, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig, Saw, Square
from bench.procedure.conclusion import conclude

GUM = "JCGM 100:2008"
USUAL = "common practice, no source"
SIMULATED = "found by simulation"
# row: (type, what stands there unless said, source of the way and of the figure)
ROWS: dict[str, tuple[str, str, str]] = {
    "between sweeps": ("A B", "scatter; one push: the log's, the yaw play, 100 urad", f"{GUM} 4.2.4; {SIMULATED}; {USUAL}"),
    "within the sweep": ("A", "the fit's own, beside a single push", f"{GUM} 4.2.3"),
    "seat": ("A B", "in the scatter where reseated; the log's; 30 urad", f"{GUM} 4.3.7; {USUAL}"),
    "between set-ups": ("A B", "the square's scatter in the log; 2.5 um over 120 mm", f"{GUM} H.5, G.4.2; {USUAL}"),
    "stand along the arm": ("B", "the arm's bend over 10 mm, or over what its texture leaves open", f"{GUM} 5.1.2; {USUAL}"),
    "stretches that differ": ("B", "what one set-up's longer passes saw beyond what all share", f"{GUM} 4.3.7"),
    "form that repeats": ("B", "what a jump seen in every pass turns one set-up more than the other", f"{GUM} 4.3.7"),
    "sled rolling": ("B", "height off the arm's middle x roll / length, where both are given", f"{GUM} C.3.3; a lever"),
    "contact away from the teeth": ("B", "8 h d / Lr^2, where all three are given", f"{GUM} 4.3.7; an arc's own geometry"),
    "resolution": ("B", "half a count at each end, where the scatter hides it not", f"{GUM} F.2.2.1"),
    "indicator over the span used": ("B", "one count and 1 % of the span", f"{GUM} 4.3.9, 4.3.10; {USUAL}"),
    "reading age": ("B", "age x change of speed / length; none without an age", f"{GUM} 5.1.3"),
    "travel scale": ("B", "0.1 % either way", f"{GUM} 4.3.7; {USUAL}"),
    "plunger tilt": ("B", "2 deg either way, by its cosine", f"{GUM} 4.3.7, F.2.4.4; {USUAL}"),
    "square": ("A B", "its log's; its tolerance over its arm", f"{GUM} 4.3.7"),
    "closure": ("B", "what did not come back beyond its own scatter, rectangular", f"{GUM} 4.3.7"),
    "form of the arm": ("B", "a bow of 0.02 mm over the arm, where stretches differ", f"{GUM} 4.3.7; {USUAL}"),
    "blade": ("B", "half of the give or take that was given with it", f"{GUM} 4.3.3"),
    "touches": ("A", "their scatter", f"{GUM} 4.2.3"),
    "carriage float": ("B", "0.01 mm either way at both ends; none where slid anew", f"{GUM} 4.3.7; {USUAL}"),
    "arbor end float": ("B", "0.005 mm either way at both ends; none where slid anew", f"{GUM} 4.3.7; {USUAL}"),
    "plate tilt": ("B", "one turn: the saw's limit of wobble over the length", f"{GUM} 4.3.7; {USUAL}"),
    "plate warp": ("B", "two turns: half of that; up from the arbor a quarter", f"{GUM} 4.3.7; {USUAL}"),
    "pairs of turns that differ": ("B", "half of what the means of two pairs differ by", f"{GUM} 4.2.3"),
    "turns not even": ("B", "half of that", f"{GUM} 4.3.7; {USUAL}"),
    "scatter of the readings": ("A", "repeats, else what the harmonic leaves", "IEEE Std 1057, three-parameter sine fit"),
    "unread part of the turn": ("B", "over 90 degrees: what a tilted plate may swing there", f"{GUM} 4.3.7; a cosine"),
    "form between the marks": ("B", "four: the warp that was seen; to seven: three waves of 0.01", f"{GUM} 4.3.7; {USUAL}"),
    "turning by hand": ("B", "0.005 mm either way, twice; none where turned to again", f"{GUM} 4.3.7; {USUAL}"),
    "place of the spots": ("B", "10 mm either way of the twist's place", f"{GUM} 4.3.7; {USUAL}"),
    "lever of the twist": ("B", "between the place and half a runner of 450 mm", f"{GUM} 4.3.7; geometry of a runner"),
    "straightedge that bends": (
        "B", "5 um, standard, at the middle; else F L^3 / (48 E I) either way", f"Roark, table 8.1; {GUM} 4.3.7; {USUAL}"
    ),
    "scatter of the leans": ("A", "their scatter", f"{GUM} 4.2.3"),
    "straightedge": ("B", "0.05 mm over 600 with one set-up", f"{GUM} 4.3.7; {USUAL}"),
    "form averaged away": ("B", "what averaging once more does, rectangular", f"{GUM} 4.3.7; Fan and Gijbels (1996)"),
    "bow that no width shows": ("B", "0.02 mm either way", f"{GUM} 4.3.7; {USUAL}"),
    "inside against outside jaws": ("B", "the caliper's limit for either", f"{GUM} 4.3.7"),
    "spacing": ("B", "the caliper's limit for either", f"{GUM} 4.3.7"),
    "widths as read": ("A B", "repeats; else count and half of the caliper's limit", f"{GUM} 4.3.7; {USUAL}"),
    "width repeatability": ("A B", "repeats; else the caliper's limit", f"{GUM} 4.2.3, 4.3.7"),
    "length between widths": ("B", "0.5 mm either way, by a rule", f"{GUM} 4.3.7; {USUAL}"),
    "right angle of the square": ("A B", "measured; its log's; its tolerance; 0.1 mm per 300 mm", f"{GUM} 4.3.7; {USUAL}"),
    "form of the long edge": ("B", "a bow of 0.02 mm, 3 mm off its middle", f"{GUM} 4.3.7; an arc; {USUAL}"),
    "scatter of the cuts": (
        "A B", "the log's passes; held 60 urad; yaw play / sqrt 12, else 100 urad, and seat", f"{GUM} 4.2.4, 4.3.7; {USUAL}"
    ),
    "edge of the strip": ("B", "0.01 mm, standard, at either end", f"{GUM} 4.3.7; {USUAL}"),
}  # fmt: skip
JIG = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)


def test_no_row_without_its_line() -> None:
    assert rows_named() <= set(ROWS)
    for name, (kinds, default, source) in ROWS.items():
        assert set(kinds.split()) <= {"A", "B"} and default and source, name


def sweeps(b: float, reading_noise: float = 0.0, pushes: int = 3, back: bool = False) -> list[Trace]:
    travel = [5.0 * k for k in range(45)]
    out = []
    for name, slope in (("handle-left", b), ("handle-right", -b)):
        for n in range(pushes):
            bump = [reading_noise * math.sin(7.0 * k + n) for k in range(45)]
            read = [round(2.0 + (slope + 1e-5 * n) * s + j, 3) for s, j in zip(travel, bump, strict=True)]
            at = [0.02 * k + 0.004 * (k > 20) * (k - 20) for k in range(45)]
            out.append(Trace(name, travel, read, True, f"{name}{n}", "one" if pushes > 1 else None, None, at))
            if back:
                # of the stand, in one set-up only
                up = 0.09 if slope > 0 else 0.0
                creep = [r + up * (1 - s / 220) for s, r in zip(travel, read, strict=True)]
                out.append(Trace(name, travel[::-1], creep[::-1], False, f"{name}{n}b"))
    return out


def worked(kind: str, traces: list[Trace], **more: object) -> Finding:
    gear = more.pop("gear", EvidenceGear(Indicator(age=0.05), jig=JIG, saw=Saw("saw")))
    return conclude(Evidence(kind, traces, gear=gear, **more), id="x", at="2026-01-01T00:00:00+00:00")  # type: ignore[arg-type]


def parts(finding: Finding) -> dict[str, str]:
    return {row.part: row.type for row in finding.budget}


def test_the_rows_of_a_fence_with_everything_known() -> None:
    options = {"touch_away": 60.0, "slot_straight": 0.05, "runner_length": 450.0}
    known = PriorKnowledge(yaw_play=2e-4)
    rows = parts(worked("fence-square", sweeps(3e-4, back=True), options=options, known=known))
    assert set(rows) >= {
        "between sweeps", "seat", "between set-ups", "contact away from the teeth", "reading age", "travel scale",
        "indicator over the span used", "plunger tilt", "closure",
    }  # fmt: skip
    coarse = EvidenceGear(Indicator(resolution=0.01), jig=JIG)
    assert "resolution" in parts(worked("fence-square", sweeps(3e-4), gear=coarse))
    one = [t for t in sweeps(3e-4) if t.placement == "handle-left"]
    for gear, known in (
        (EvidenceGear(jig=JIG, square=Square("s", 250.0, 0.02)), PriorKnowledge()),
        (EvidenceGear(jig=JIG), PriorKnowledge(square=SquareHistory(1e-5, 1e-5, 5))),
    ):
        assert "square" in parts(worked("fence-square", one, gear=gear, known=known))


MITRE = [f"{fence}-fence-corner-{corner}" for fence in ("left", "right") for corner in "ab"]


def spots(rows: list[tuple[str, float, float]], times: int = 3) -> list[Trace]:
    return [
        Trace(name, [at], [r + 0.001 * n], True, f"{k}{n}")
        for k, (name, at, r) in enumerate(rows)
        for n in range(times)
    ]


@pytest.mark.parametrize(
    ("kind", "traces", "options", "wanted"),
    [
        ("fence-square", sweeps(3e-4, 0.002), {}, {"between sweeps", "seat"}),
        ("fence-square", sweeps(3e-4, 0.002, 1), {}, {"between sweeps", "within the sweep"}),
        ("rip-fence", [Trace("-", t.travel, t.reading, True, t.sweep) for t in sweeps(1e-4, 0.002)],
         {"blade": 1e-5, "blade_uncertainty": 2e-5}, {"between sweeps", "blade"}),
        ("slot-blade", spots([("front", 0, 2.0), ("rear", 160, 2.02)]), {},
         {"touches", "arbor end float", "carriage float"}),
        ("plate-wobble", spots([(f"turn-{45 * k}", 0, 2 + 0.01 * (k % 3)) for k in range(8)]), {},
         {"scatter of the readings", "resolution"}),
        ("side-play", spots([("leaned-left", 0, 2.0), ("leaned-right", 0, 2.08)]), {}, {"scatter of the leans"}),
        ("fence-straight", [Trace("as-is", t.travel, t.reading, True, t.sweep) for t in sweeps(1e-4, 0.002)],
         {"placements": "as-is"}, {"straightedge", "form averaged away"}),
        ("runner-fit", [Trace("slot-left", [0.0, 300.0, 600.0], [19.1, 19.12, 19.1]),
                        Trace("runner-left", [0.0, 450.0], [19.0, 19.0])], {},
         {"bow that no width shows", "inside against outside jaws", "widths as read"}),
        ("test-board", [Trace("near", [15.0] * 2, [25.39, 25.4]), Trace("far", [385.0] * 2, [25.0, 25.01])],
         {"apart": 370.0}, {"scatter of the cuts", "edge of the strip", "width repeatability", "length between widths"}),
        ("mitre-square", [Trace(n, t.travel, t.reading, True, t.sweep) for n in MITRE for t in sweeps(1e-4, 0.002)[:3]],
         {}, {"between sweeps", "form of the long edge", "right angle of the square"}),
        ("upright", spots([(name, at, 2 + at / 1000) for name in ("blade-away", "blade-toward") for at in (10.0, 70.0)]),
         {"limit": 1e-3}, {"touches", "seat", "plate warp", "indicator over the span used"}),
    ],
)  # fmt: skip
def test_no_finding_has_a_row_of_another_name(
    kind: str, traces: list[Trace], options: dict, wanted: set[str]
) -> None:
    rows = parts(worked(kind, traces, options=options))
    assert wanted <= set(rows) <= set(ROWS)
    for name, kind_of in rows.items():
        assert kind_of in ROWS[name][0].split()
