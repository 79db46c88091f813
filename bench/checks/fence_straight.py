"""Is the sled's fence straight? Swept along a straightedge, once as it lies and once
rolled over.

p1 = f + g, p2 = f - g: rolled over about its own length the straightedge's error turns
its sign, so that f = (p1 + p2) / 2 is the fence alone (reversal: Evans, Hocken, Estler
(1996), CIRP Annals 45(2), 617-634). Straightness: ISO 12780-1:2011, minimum zone and
least squares. mm and rad; heights grow where the face stands proud.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Step
from bench.checks.options import OptionValue, choice, given_number, length
from bench.checks.shared.board_contacts import AS_IS, ROLLED, contacts
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.edge_bending import BENDING_OPTIONS, bending
from bench.checks.shared.face_profile import (
    Face,
    PassScatter,
    averaged_away,
    face_of,
    pass_scatter,
)
from bench.checks.shared.results import combined, finding, quantity
from bench.checks.shared.slips import short_pushes, too_fine
from bench.finding import Finding, Remark, Settle, note, warning
from bench.uncertainty import Part, rectangular, settle, span

if TYPE_CHECKING:
    from bench.geometry.cells import Array
    from bench.geometry.columns import Column
    from bench.geometry.straightness import Straightness

AGAIN = (
    "Draw the indicator back to the left end and wipe the face. Push it low at its"
    " base, with two fingers. Do not press on the straightedge."
)
STRAIGHT = 0.05  # mm, over 600 mm; common practice, no source
# of its length, half-width, where nothing is said; common practice, no source
STRAIGHTEDGE = 0.05 / 600


PRESSED = "pressed"


def _pass(placement: str, words: str, picture: str) -> Step:
    return Step(
        placement,
        words,
        "sweep",
        picture=f"straightedge-{picture}",
        reseat=AGAIN,
        pushed="indicator",
    )


AS_IT_LIES = _pass(
    AS_IS,
    "Straightedge along the sled fence, its ends on two equal blocks."
    " Indicator riding along the straightedge, its tip on the sled fence."
    " It begins at the left end; the travel counts from the blade.",
    AS_IS,
)
ROLLED_OVER = _pass(
    ROLLED,
    "Roll the straightedge over about its own length. The same end stays on the"
    " left. The edge that was ridden faces the other way. Do not swap its ends.",
    ROLLED,
)
PRESSED_HARD = msgspec.structs.replace(
    _pass(
        PRESSED,
        "Leave the straightedge as it lies. Push the indicator along it again. Press"
        " its base against the straightedge with your whole hand. That shows how far"
        " the straightedge gives way.",
        AS_IS,
    ),
    repeat=2,
    reseat="Draw the indicator back to the left end. Press as hard as before.",
)


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del gear
    if options.get("placements") == AS_IS:
        return (AS_IT_LIES,)
    if options.get("straightedge_thick") is not None:
        return (AS_IT_LIES, ROLLED_OVER)
    return (AS_IT_LIES, PRESSED_HARD, ROLLED_OVER)


def accepts(
    placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> Step | None:
    del options, gear
    return PRESSED_HARD if placement == PRESSED else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.columns import GeometryError

    try:
        return _evaluate(evidence)
    except GeometryError as error:
        raise EvidenceError(str(error)) from error


def _evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.straightness import bow, least_squares, minimum_zone

    remarks: list[Remark] = []
    placements = [
        p for p in (AS_IS, ROLLED) if any(t.placement == p for t in evidence.traces)
    ]
    if not placements:
        raise EvidenceError(f"no pass along the sled fence ({AS_IS} or {ROLLED})")
    _both_or_chosen(evidence, placements)
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
    of_bow = combined(
        evidence,
        [
            *pass_scatter(face, arch.sensitivity).between.parts,
            *rest,
            bent.row(arch.sensitivity),
            _lost(lost, arch.sensitivity),
        ],
    )
    crown = float(arch.height)
    bulges = "crown" if crown > 0 else "hollow"
    way = bulges if abs(crown) > of_bow.expanded else None
    quantities = [
        quantity("minimum-zone", zone.value, budget, limit, way, unit="mm"),
        quantity("least-squares", line.value, of_line, way=way, unit="mm"),
        quantity("bow", crown, of_bow, way=bulges, unit="mm"),
    ]
    between, groups = zone.scatter.between, zone.scatter.groups
    settled: Settle | None = None
    if quantities[0].verdict == "cannot-tell" and limit is not None:
        settled = settle(
            zone.value, budget, limit, between, groups, count=face.count or None
        )
    remarks += _contradictions(face, budget.expanded, zone.value, limit)
    remarks += too_fine(evidence)
    remarks += short_pushes(
        [max(t.travel) - min(t.travel) for t in evidence.traces if t.travel]
    )
    contact = contacts(evidence, face, rest, bent, budget.confidence, remarks)
    if between.single:
        remarks.append(note("one-pass", source="usual"))
    return finding(
        evidence,
        quantities,
        budget,
        settle=settled,
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
    from bench.geometry.straightness import less_noise

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


def _both_or_chosen(evidence: Evidence, placements: Sequence[str]) -> None:
    """One set-up alone is an answer where it was chosen, or the straightedge is known;
    else one was forgotten."""
    known = given_number(evidence.options, "straightedge") is not None
    if (
        len(placements) == 2
        or known
        or evidence.options.get("placements") == placements[0]
    ):
        return
    missing = ROLLED if placements[0] == AS_IS else AS_IS
    raise EvidenceError(
        f"no pass {missing}: with one set-up the straightedge's own error stays in the"
        " answer; take both, or say with --straightedge how straight it is"
    )


def _contradictions(
    face: Face, fuzz: float, value: float, limit: float | None
) -> list[Remark]:
    """A straightedge that shows no error, or far more than the fence, was perhaps not
    turned as drawn. An indicator that was turned with it takes one for the other: said
    wherever the verdict would then be another."""
    from bench.geometry.straightness import minimum_zone

    if face.g is None:
        return []
    of_edge = float(minimum_zone(face.x, face.g).straightness)
    far_more = of_edge > 3.0 * max(value, fuzz) and of_edge > 0.05
    if far_more or (limit is not None and value <= limit < of_edge - fuzz):
        return [warning("straightedge-crooked", crooked=of_edge)]
    if value > 3.0 * fuzz and of_edge < 0.1 * value:
        return [warning("set-ups-alike")]
    return []


CHECK = Check(
    kind="fence-straight",
    question="Is the sled's fence straight?",
    plan=plan,
    evaluate=evaluate,
    quantities=("minimum-zone", "least-squares", "bow"),
    cautions=AT_REST,
    options=(
        choice("placements", "Which set-ups to take", ("both", AS_IS), default="both"),
        length(
            "straight",
            "How straight is good enough; 0.05 mm for a sled unless said",
            (0.001, 10.0),
        ),
        length(
            "straightedge",
            "How straight the straightedge is, where it is not rolled over",
            (0.0, 10.0),
        ),
        *BENDING_OPTIONS,
    ),
    needs=("jig",),
    rank=5,
    accepts=accepts,
)
