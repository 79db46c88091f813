"""Is the sled's fence straight? Swept along a straightedge, once as it is and once rolled over.

p1 = f + g, p2 = f - g: rolled over about its own length the straightedge's error turns its sign, so that
f = (p1 + p2) / 2 is the fence alone (reversal: Evans, Hocken, Estler (1996), CIRP Annals 45(2), 617-634).
May import: bench.checks, bench.finding; arithmetic inside functions only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from bench.checks.cautions import BLADE_DOWN, COUNT_OFF, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Option, OptionValue, Step
from bench.finding import Contact, Finding, Quantity, SweepRow

PLACEMENTS = ("as-is", "rolled-over")
STRAIGHT = 0.05  # mm over 600 mm, where a sled is named and nothing else is said; common practice, no source


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del options, gear
    return (
        Step(
            "as-is",
            "Straightedge along the sled fence, its ends on two equal blocks. Indicator riding along the straightedge, "
            "tip on the face of the sled fence; travel is the place along the fence, from the blade.",
            "sweep",
            picture="fence-straight",
        ),
        Step(
            "rolled-over",
            "Roll the straightedge over about its own length: the same end stays left, the ridden edge now faces the "
            "other way. Not swung end for end, not flipped end over end.",
            "sweep",
            picture="fence-straight-rolled",
        ),
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.reversal import GeometryError

    try:
        return _evaluate(evidence)
    except GeometryError as error:
        raise EvidenceError(str(error)) from error


def _evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.reversal import reverse_sweeps, standard_uncertainty
    from bench.geometry.straightness import bow, least_squares, less_noise, minimum_zone
    from bench.uncertainty import Part, combine, rectangular, verdict

    sweeps: dict[str, list[tuple[list[float], list[float]]]] = {name: [] for name in PLACEMENTS}
    for trace in evidence.traces:
        sweeps[trace.placement].append((trace.travel, trace.reading))
    for name in PLACEMENTS:
        if not sweeps[name]:
            raise EvidenceError(
                f"no sweep {name}: with one set-up the straightedge's own error stays in the answer"
            )
    found = reverse_sweeps(sweeps["as-is"], sweeps["rolled-over"])
    x, face, noise = found.x, found.face, found.covariance
    dof = found.degrees_of_freedom
    notes: list[str] = []
    indicator = evidence.gear.indicator
    reach = max(max(r) - min(r) for pair in sweeps.values() for _, r in pair)
    count = indicator.resolution or 0.001
    half = indicator.short_span_error if indicator.short_span_error is not None else count + 0.01 * reach
    span = rectangular("indicator over the span used", half / math.sqrt(2))  # the mean of two set-ups
    confidence = 0.99 if evidence.known.looks else 0.95
    jig = evidence.gear.jig
    given = evidence.options.get("straight")
    limit = float(given) if isinstance(given, int | float) else STRAIGHT if jig is not None else None
    quantities: list[Quantity] = []
    budget: list[Any] = []
    for name, plain in (("minimum-zone", minimum_zone(x, face)), ("least-squares", least_squares(x, face))):
        value, u = float(plain.straightness), 0.0
        if noise is not None:
            quiet = less_noise(x, face, noise, "minimum-zone" if name == "minimum-zone" else "least-squares")
            value, u = float(quiet.straightness), float(quiet.standard_uncertainty)
        rows = [Part("scatter of the passes", "A", u, dof) if u > 0 else None, span]
        combined = combine(rows, confidence)
        first = name == "minimum-zone" and limit is not None
        quantities.append(
            Quantity(
                name,
                value,
                "mm",
                combined.expanded,
                combined.degrees_of_freedom,
                limit if first else None,
                verdict(value, combined.expanded, limit) if first and limit is not None else None,
            )
        )
        budget = budget or combined.rows
    arch = bow(x, face)
    u_bow = standard_uncertainty(arch.sensitivity, noise) if noise is not None else 0.0
    combined = combine(
        [Part("scatter of the passes", "A", u_bow, dof) if u_bow > 0 else None, span], confidence
    )
    quantities.append(
        Quantity(
            "bow",
            float(arch.height),
            "mm",
            combined.expanded,
            combined.degrees_of_freedom,
            way="crown" if arch.height > 0 else "hollow",
        )
    )
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        verdict=quantities[0].verdict,
        confidence=confidence,
        sweeps=_rows(evidence),
        budget=budget,
        single_sweep=all(len(pair) == 1 for pair in sweeps.values()),
        profile=[(float(a), float(f)) for a, f in zip(x, face, strict=True)],
        contact=_contacts(evidence, x, face, noise, dof, half, confidence, notes),
        notes=notes,
    )


def _contacts(
    evidence: Evidence,
    x: Any,
    face: Any,
    noise: Any,
    dof: float | None,
    half: float,
    confidence: float,
    notes: list[str],
) -> list[Contact]:
    """The line a board rests on: for the widest board either side of the blade and over it, else for the whole
    profile and each half; pushed at its middle."""
    from bench.geometry.contact import contact_line
    from bench.uncertainty import Part, combine, rectangular

    jig = evidence.gear.jig
    low, high = float(x[0]), float(x[-1])
    wide = jig.widest_board if jig is not None else None
    middle = (low + high) / 2
    boards = [(low, high), (low, middle), (middle, high)]
    if wide is not None:
        wanted = [(-wide, 0.0), (-wide / 2, wide / 2), (0.0, wide)]
        cut = [(max(low, a), min(high, b)) for a, b in wanted]
        boards = [pair for pair in dict.fromkeys(cut) if pair[1] - pair[0] > 50.0] or boards
    far = jig is not None and jig.fence == "far"
    lines: list[Contact] = []
    for a, b in boards:
        pushed = (a + b) / 2
        line = contact_line(
            x, -face if far else face, a, b, pushed, fence="far" if far else "near", noise=noise
        )
        edge = abs(line.edge[1] - line.edge[0]) or (b - a)
        u = line.standard_uncertainty or 0.0
        rows = [
            Part("scatter of the passes", "A", u, dof) if u > 0 else None,
            rectangular("indicator over the span used", half / math.sqrt(2) / max(edge, 50.0)),
        ]
        combined = combine(rows, confidence)
        lines.append(Contact(a, b, pushed, float(line.rotation), combined.expanded))
        if line.span[1] - line.span[0] > 2 * combined.expanded:
            notes.append(
                f"A board from {a:.0f} to {b:.0f} mm can rest anywhere between {line.span[0] * 300:+.3f} and "
                f"{line.span[1] * 300:+.3f} mm per 300 mm, as it is pushed 50 mm to either side of its middle."
            )
    return lines


def _rows(evidence: Evidence) -> list[SweepRow]:
    from bench.geometry.line_fit import fit_sweep

    rows = []
    for trace in evidence.traces:
        fit = fit_sweep(
            trace.travel, trace.reading, resolution=evidence.gear.indicator.resolution, at=trace.at
        )
        rows.append(
            SweepRow(
                trace.placement,
                trace.push,
                len(trace.reading),
                0,
                float(fit.slope),
                float(fit.standard_uncertainty),
            )
        )
    return rows


KIND = "fence-straight"

CHECK = Check(
    kind=KIND,
    question="Is the sled's fence straight?",
    plan=plan,
    evaluate=evaluate,
    quantities=("minimum-zone", "least-squares", "bow"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(Option("straight", "length", "How straight is good enough"),),
    needs=("jig",),
)
