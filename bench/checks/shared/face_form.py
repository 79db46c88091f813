"""The form of a sled fence from the passes along it: straightness, bow, the lines that
boards rest on, and the bending of the straightedge under the hand that pushes the
indicator. Lengths in mm, forces in N."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import msgspec
import numpy as np

from bench.checks.model import Evidence
from bench.checks.options import given_number, number
from bench.checks.shared.board_contacts import contacts
from bench.checks.shared.face_profile import (
    BENDS,
    Face,
    PassScatter,
    averaging_loss,
    face_of,
    pass_scatter,
)
from bench.checks.shared.plausibility import grid_remarks, short_pass_remarks
from bench.checks.shared.results import budget_of, finding, quantity, settled_by
from bench.checks.shared.return_error import step_of
from bench.checks.shared.straightedge import AS_IS, MODULUS, PRESSED, ROLLED
from bench.checks.shared.traces import spread_of
from bench.finding import EvidenceError, Finding, Remark, note, warning
from bench.geometry.cells import Array
from bench.geometry.columns import Column, legendre
from bench.geometry.reversal import levelling_matrix
from bench.geometry.straightness import (
    Straightness,
    bow,
    least_squares,
    less_noise,
    minimum_zone,
)
from bench.uncertainty.budget import Part, rectangular, span

ReferenceLine = Callable[[Column, Column], Straightness]

FORCE = 5.0  # N across the straightedge, of a hand that is not light; common practice
# mm, standard uncertainty at the middle where no size is said; common practice, no
# source
BEND = 0.005
# how many times as hard as with two fingers a whole hand presses; common practice, no
# source
HARDER = 2.5, 8.0
LEAST_TOLD = 0.0005  # mm, half of the last digit that is told
STRAIGHT = 0.05  # mm, over 600 mm; common practice, no source
# of its length, half-width, where nothing is said; common practice, no source
STRAIGHTEDGE = 0.05 / 600


def face_finding(evidence: Evidence) -> Finding:
    remarks: list[Remark] = []
    face, placements = _face(evidence, remarks)
    face, said_of_bending = _add_bending(evidence, face)
    own = span(
        face.span,
        1.0,
        face.count,
        short_span_error=evidence.gear.indicator.short_span_error,
        weights=face.weights,
    )
    rest = [own, _straightedge(evidence, face, remarks)]
    rest.append(_dragged(face, placements, remarks))
    remarks.append(said_of_bending)
    lost, limit = averaging_loss(face), _limit(evidence)
    zone, scatter, rows = _straightness(face, minimum_zone, rest, lost)
    line, _, of_line = _straightness(face, least_squares, rest, lost)
    budget, arch = budget_of(evidence, rows), bow(face.x, face.f)
    of_passes = pass_scatter(face, arch.sensitivity).between.parts
    more = [face.bend_row(arch.sensitivity), _averaging_row(lost, arch.sensitivity)]
    of_bow = budget_of(evidence, [*of_passes, *rest, *more])
    bulges = "crown" if arch.height > 0 else "hollow"
    way = bulges if abs(arch.height) > of_bow.expanded else None
    quantities = [
        quantity("minimum-zone", zone, budget, limit, way, unit="mm"),
        quantity(
            "least-squares", line, budget_of(evidence, of_line), way=way, unit="mm"
        ),
        quantity("bow", arch.height, of_bow, way=bulges, unit="mm"),
    ]
    between, groups, count = scatter.between, scatter.groups, face.count or None
    lengths = [spread_of(t.travel) for t in evidence.traces if t.travel]
    remarks += _contradictions(face, budget.expanded, zone, limit)
    remarks += [*grid_remarks(evidence), *short_pass_remarks(lengths)]
    contact = contacts(evidence, face, placements, rest, remarks)
    if between.single:
        remarks.append(note("one-pass", source="usual"))
    return finding(
        evidence,
        quantities,
        budget,
        settle=settled_by(quantities[0], budget, between, groups, count=count),
        sweeps=face.rows,
        single_sweep=between.single,
        profile=[(float(x), float(f)) for x, f in zip(face.x, face.f, strict=True)],
        contact=contact,
        remarks=remarks,
    )


def _face(evidence: Evidence, remarks: list[Remark]) -> tuple[Face, list[str]]:
    placements = _placements(evidence)
    count = evidence.gear.indicator.resolution
    pressed = PRESSED if AS_IS in placements else ""
    return face_of(evidence.traces, placements, count, remarks, pressed), placements


def _limit(evidence: Evidence) -> float | None:
    """The limit of straightness, mm: as given; else the usual one where a sled is
    named."""
    usual = STRAIGHT if evidence.gear.jig is not None else None
    return given_number(evidence.options, "straight") or usual


def _straightness(
    face: Face, fit: ReferenceLine, rest: Sequence[Part | None], lost: Array
) -> tuple[float, PassScatter, list[Part | None]]:
    """A straightness in mm with what the passes do to it, and its rows. What noise adds
    is taken off, and the interval is that of what is left."""
    plain = fit(face.x, face.f)
    scatter = pass_scatter(face, plain.sensitivity)
    left = less_noise(face.x, face.f, face.covariance, fit)
    bend = math.sqrt(3) * face.bend  # no linear number of the heights: either way
    bent = (fit(face.x, face.f + way * bend).straightness for way in (1, -1))
    moved = max(abs(float(one) - plain.straightness) for one in bent)
    rows = [
        *scatter.rows(left.standard_uncertainty),
        *rest,
        rectangular(BENDS, moved),
        _averaging_row(lost, plain.sensitivity),
    ]
    return left.straightness, scatter, rows


def _averaging_row(lost: Array, sensitivity: Array) -> Part | None:
    """The row of what averaging takes from one number: a bound, not a correction."""
    return rectangular("form averaged away", float(abs(sensitivity @ lost)))


def _straightedge(evidence: Evidence, face: Face, remarks: list[Remark]) -> Part | None:
    """With one placement the straightedge's own form stays in the answer, as large as
    it is said to be, or as one may well be where one set-up was asked for."""
    if face.g is not None:
        return None
    given = given_number(evidence.options, "straightedge")
    if given is not None:
        remarks.append(note("straightedge-as-told"))
        return rectangular("straightedge", given)
    bound = STRAIGHTEDGE * face.length
    remarks.append(warning("straightedge-unknown", bound=float(bound)))
    return rectangular("straightedge", bound)


def _placements(evidence: Evidence) -> list[str]:
    """One set-up alone is an answer where it was chosen, or the straightedge is known;
    else one was forgotten."""
    taken = {trace.placement for trace in evidence.traces}
    placements = [name for name in (AS_IS, ROLLED) if name in taken]
    if not placements:
        raise EvidenceError(f"no pass along the sled fence ({AS_IS} or {ROLLED})")
    known = given_number(evidence.options, "straightedge") is not None
    chosen = evidence.options.get("placements") == placements[0]
    if len(placements) == 1 and not known and not chosen:
        missing = ROLLED if placements[0] == AS_IS else AS_IS
        raise EvidenceError(
            f"no pass {missing}: with one set-up the straightedge's own error stays in"
            " the answer; take both, or say with --straightedge how straight it is"
        )
    return placements


def _contradictions(
    face: Face, fuzz: float, value: float, limit: float | None
) -> list[Remark]:
    """A straightedge that shows no error, or far more than the fence, was perhaps not
    turned as drawn. An indicator that was turned with it takes one for the other: said
    wherever the verdict would then be another."""
    if face.g is None:
        return []
    of_edge = float(minimum_zone(face.x, face.g).straightness)
    far_more = of_edge > 3.0 * max(value, fuzz) and of_edge > 0.05
    if far_more or (limit is not None and value <= limit < of_edge - fuzz):
        return [warning("straightedge-crooked", crooked=of_edge)]
    if value > 3.0 * fuzz and of_edge < 0.1 * value:
        return [warning("set-ups-alike")]
    return []


def _dragged(
    face: Face, placements: Sequence[str], remarks: list[Remark]
) -> Part | None:
    """A straightedge that the indicator drags round turns as much in every pass, which
    bows the profile by a quarter of that over its length."""
    slopes = [
        [row.slope for row in face.rows if row.placement == one and row.push]
        for one in placements
    ]
    # it lies still otherwise: nobody lays it anew between passes
    turn, _, sure = step_of(slopes, 0.95)
    bows = abs(turn) * face.length / 4
    if not sure or bows <= BEND:
        return None
    remarks.append(warning("straightedge-dragged", bows=bows))
    return Part("straightedge", "B", bows)


def _add_bending(evidence: Evidence, face: Face) -> tuple[Face, Remark]:
    """The face with what bending does to it, from the passes that were pressed, else
    from the straightedge's size, else as usual, less what was seen of it; and what is
    said of it. Alike as it lies and rolled over, reversal does not take it out.

    A beam on two blocks, the force at its middle, gives way there by F L^3 / (48 E I),
    I = h t^3 / 12 of a section t thick in the direction of the force and h high; and by
    16 u^2 (1 - u)^2 of that under a force at the share u of the span. The force may go
    either way: that is a rectangular half-width. Source: the simply supported beam,
    e.g. W. C. Young and R. G. Budynas (2002), Roark's Formulas for Stress and Strain,
    7th ed., table 8.1, case 1e (from memory); JCGM 100:2008, 4.3.7.
    """
    if face.pressed:
        return _bending_by_pressing(face)
    options = evidence.options
    thick = given_number(options, "straightedge_thick")
    high = given_number(options, "straightedge_high")
    span = number(options, "straightedge_span", face.length)
    shape = _deflection_shape(face, span)
    if thick is None or high is None:
        face.bend = BEND * shape
        return face, note("straightedge-bends-usual", bend=BEND)
    modulus = MODULUS[str(options.get("straightedge_of") or "steel")]
    gives = deflection(FORCE, span, thick, high, modulus)
    face.bend = gives / math.sqrt(3) * shape
    return face, note("straightedge-bends", gives=gives)


def _bending_by_pressing(face: Face) -> tuple[Face, Remark]:
    """The face less the bending of its straightedge, in proportion to what pressing
    HARDER times as hard adds to the passes as it lies.

    A beam's form under a force that moves along it is of the fourth degree, wherever
    the blocks stand. It gives way in proportion to the force.
    """
    least, most = (1 / (times - 1) for times in reversed(HARDER))
    share, either_way = (least + most) / 2, (most - least) / 2
    design = legendre(face.x, 4)
    fit = levelling_matrix(face.x) @ design[:, 2:] @ np.linalg.pinv(design)[2:]
    first = face.lines[0]
    more = fit @ (np.mean(face.pressed, axis=0) - np.mean(first, axis=0))
    weight = face.weights[0]
    as_it_lies = (weight * np.eye(face.x.size) + share * fit) / (weight + share)
    one = face.covariance / face.share
    lines = [
        [as_it_lies @ line for line in first],
        *face.lines[1:],
        [-fit @ line for line in face.pressed],
    ]
    weights = (weight + share, *face.weights[1:], share)
    turns = (as_it_lies, *[np.eye(face.x.size)] * (len(lines) - 2), fit)
    parts = [
        w * w / len(group) * (turn @ one @ turn.T)
        for w, group, turn in zip(weights, lines, turns, strict=True)
    ]
    taken_off = msgspec.structs.replace(
        face,
        f=face.f - share * more,
        lines=lines,
        weights=weights,
        covariance=np.sum(parts, axis=0),
        bend=either_way / math.sqrt(3) * more,
    )
    gives = float(np.max(np.abs(more)))
    if share * gives < LEAST_TOLD:
        return taken_off, note("straightedge-stiff", gives=gives)
    return taken_off, note("straightedge-pressed", gives=gives, off=share * gives)


def deflection(
    force: float, span: float, thick: float, high: float, modulus: float
) -> float:
    """mm at the middle of a beam on two blocks `span` apart, force there in N, modulus
    in N/mm^2."""
    moment_of_area = high * thick**3 / 12.0
    return force * span**3 / (48.0 * modulus * moment_of_area)


def _deflection_shape(face: Face, span: float) -> Array:
    middle = (face.x[0] + face.x[-1]) / 2.0
    u = np.clip((face.x - middle) / max(span, face.length) + 0.5, 0.0, 1.0)
    return np.asarray(16.0 * u**2 * (1.0 - u) ** 2, dtype=np.float64)
