"""From the passes along a sled fence to how straight it is: straightness, bow, and the
lines that boards rest on. mm and rad."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from bench.checks.model import Evidence
from bench.checks.options import given_number
from bench.checks.shared.board_contacts import contacts
from bench.checks.shared.edge_bending import bending
from bench.checks.shared.face_profile import (
    Face,
    PassScatter,
    averaged_away,
    face_of,
    pass_scatter,
)
from bench.checks.shared.results import combined, finding, quantity, settled
from bench.checks.shared.slips import short_pushes, too_fine
from bench.checks.shared.straightedge import AS_IS, PRESSED, ROLLED
from bench.finding import EvidenceError, Finding, Remark, note, warning
from bench.geometry.cells import Array
from bench.geometry.columns import Column
from bench.geometry.straightness import (
    Straightness,
    bow,
    least_squares,
    less_noise,
    minimum_zone,
)
from bench.uncertainty import Part, rectangular, span

STRAIGHT = 0.05  # mm, over 600 mm; common practice, no source
# of its length, half-width, where nothing is said; common practice, no source
STRAIGHTEDGE = 0.05 / 600


def form_of_face(evidence: Evidence) -> Finding:
    remarks: list[Remark] = []
    placements = _placements(evidence)
    count = evidence.gear.indicator.resolution
    pressed = PRESSED if AS_IS in placements else ""
    face = face_of(evidence.traces, placements, count, remarks, pressed)
    face, bent, said_of_it = bending(evidence, face)
    rest = [_span(evidence, face), _straightedge(evidence, face, remarks)]
    remarks.append(said_of_it)
    lost, limit = averaged_away(face), _limit(evidence)

    def straightness_by(fit: Callable[[Column, Column], Straightness]) -> _Straightness:
        rows = [*rest, bent.row_of(face, fit)]
        return _straightness(face, fit, rows, lost)

    zone, line = straightness_by(minimum_zone), straightness_by(least_squares)
    budget, of_line = combined(evidence, zone.rows), combined(evidence, line.rows)
    arch = bow(face.x, face.f)
    passes = pass_scatter(face, arch.sensitivity).between.parts
    own = [bent.row(arch.sensitivity), _lost(lost, arch.sensitivity)]
    of_bow = combined(evidence, [*passes, *rest, *own])
    crown = float(arch.height)
    bulges = "crown" if crown > 0 else "hollow"
    way = bulges if abs(crown) > of_bow.expanded else None
    quantities = [
        quantity("minimum-zone", zone.value, budget, limit, way, unit="mm"),
        quantity("least-squares", line.value, of_line, way=way, unit="mm"),
        quantity("bow", crown, of_bow, way=bulges, unit="mm"),
    ]
    between, groups = zone.scatter.between, zone.scatter.groups
    remarks += _contradictions(face, budget.expanded, zone.value, limit)
    remarks += too_fine(evidence)
    remarks += short_pushes(
        [max(t.travel) - min(t.travel) for t in evidence.traces if t.travel]
    )
    contact = contacts(evidence, face, rest, bent, remarks)
    if between.single:
        remarks.append(note("one-pass", source="usual"))
    return finding(
        evidence,
        quantities,
        budget,
        settle=settled(
            quantities[0], budget, between, groups, count=face.count or None
        ),
        sweeps=face.rows,
        single_sweep=between.single,
        profile=[(float(x), float(f)) for x, f in zip(face.x, face.f, strict=True)],
        contact=contact,
        remarks=remarks,
    )


def _limit(evidence: Evidence) -> float | None:
    """What was asked for; else the usual limit where a sled is named."""
    usual = STRAIGHT if evidence.gear.jig is not None else None
    return given_number(evidence.options, "straight") or usual


class _Straightness(msgspec.Struct, frozen=True):
    value: float  # mm
    scatter: PassScatter
    rows: list[Part | None]


def _straightness(
    face: Face,
    fit: Callable[[Column, Column], Straightness],
    rest: Sequence[Part | None],
    lost: Array,
) -> _Straightness:
    """What noise adds to a straightness is taken off, and the interval is that of what
    is left."""
    sensitivity = fit(face.x, face.f).sensitivity
    scatter = pass_scatter(face, sensitivity)
    left = less_noise(face.x, face.f, face.covariance, fit)
    rows = [*scatter.rows(float(left.standard_uncertainty)), *rest]
    return _Straightness(
        float(left.straightness), scatter, [*rows, _lost(lost, sensitivity)]
    )


def _lost(lost: Array, sensitivity: Array) -> Part | None:
    """What averaging takes from one number; a bound, for the form may as well have been
    lost by some other way."""
    return rectangular("form averaged away", float(abs(sensitivity @ lost)))


def _span(evidence: Evidence, face: Face) -> Part | None:
    """The indicator's own error over what it moved through, mm; every form is a
    difference of its readings."""
    return span(
        face.span,
        1.0,
        face.count,
        short_span_error=evidence.gear.indicator.short_span_error,
        weights=face.weights,
    )


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
