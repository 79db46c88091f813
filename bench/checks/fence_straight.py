"""Is the sled's fence straight? Swept along a straightedge, once as it lies and once
rolled over.

p1 = f + g, p2 = f - g: rolled over about its own length the straightedge's error turns
its sign, so that f = (p1 + p2) / 2 is the fence alone (reversal: Evans, Hocken, Estler
(1996), CIRP Annals 45(2), 617-634). Straightness: ISO 12780-1:2011, minimum zone and
least squares. mm and rad; heights grow where the face stands proud.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Step
from bench.checks.options import Option, OptionValue, given_number
from bench.checks.shared.board_contacts import AS_IS, ROLLED, contacts
from bench.checks.shared.cautions import (
    BLADE_DOWN,
    COUNT_OFF,
    MANUAL,
    STILL_TEETH,
    UNPLUG,
)
from bench.checks.shared.edge_bending import BENDING_OPTIONS, bending
from bench.checks.shared.face_profile import (
    Differs,
    Face,
    averaged_away,
    differs,
    face_of,
)
from bench.checks.shared.slips import short_pushes, too_fine
from bench.finding import Finding, Quantity, Remark, Settle

if TYPE_CHECKING:
    from bench.geometry.cells import Array
    from bench.uncertainty import Combined, Part

AGAIN = (
    "Draw the indicator back to the left end and wipe the face. Push it low at its"
    " base, with two fingers. Do not press on the straightedge."
)
STRAIGHT = 0.05  # mm, over 600 mm; common practice, no source
# of its length, half-width, where nothing is said; common practice, no source
STRAIGHTEDGE = 0.05 / 600


PRESSED = "pressed"
_PRESSED = Step(
    placement=PRESSED,
    words=(
        "Leave the straightedge as it lies. Push the indicator along it again. Press it"
        " against the straightedge with your whole hand, low at its base. That shows"
        " how far the straightedge gives way."
    ),
    gather="sweep",
    repeat=2,
    picture="straightedge-as-is",
    reseat="Draw the indicator back to the left end. Press as hard as before.",
    pushed="indicator",
)


def accepts(
    placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> Step | None:
    del options, gear
    return _PRESSED if placement == PRESSED else None


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del gear
    as_is = Step(
        placement=AS_IS,
        words=(
            "Straightedge along the sled fence, its ends on two equal blocks."
            " Indicator riding along the straightedge, its tip on the sled fence."
            " It begins at the left end; the travel counts from the blade."
        ),
        gather="sweep",
        picture="straightedge-as-is",
        reseat=AGAIN,
        pushed="indicator",
    )
    rolled = Step(
        placement=ROLLED,
        words=(
            "Roll the straightedge over about its own length. The same end stays on the"
            " left. The edge that was ridden faces the other way. Do not swap its ends."
        ),
        gather="sweep",
        picture="straightedge-rolled-over",
        reseat=AGAIN,
        pushed="indicator",
    )
    if options.get("placements") == AS_IS:
        return (as_is,)
    size_said = options.get("straightedge_thick") is not None
    return (as_is, rolled) if size_said else (as_is, _PRESSED, rolled)


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.columns import GeometryError

    try:
        return _evaluate(evidence)
    except GeometryError as error:
        raise EvidenceError(str(error)) from error


def _evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.straightness import bow, least_squares, minimum_zone
    from bench.uncertainty import settle, verdict

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
    confidence = 0.99 if evidence.known.looks else 0.95
    zone, line, arch = (
        minimum_zone(face.x, face.f),
        least_squares(face.x, face.f),
        bow(face.x, face.f),
    )
    lost = averaged_away(face)
    of_zone = differs(face, zone.sensitivity)
    value, combined = _straightness(
        face,
        of_zone,
        "minimum-zone",
        [*rest, bent.row_of(face, minimum_zone), _lost(lost, zone.sensitivity)],
        confidence,
    )
    limit = _limit(evidence)
    said = verdict(value, combined.expanded, limit) if limit is not None else None
    crown, of_bow = (
        float(arch.height),
        _bow_row(
            face,
            arch.sensitivity,
            [*rest, bent.row(arch.sensitivity), _lost(lost, arch.sensitivity)],
            confidence,
        ),
    )
    way = (
        "crown"
        if crown > of_bow.expanded
        else "hollow"
        if crown < -of_bow.expanded
        else None
    )
    ls_value, of_line = _straightness(
        face,
        differs(face, line.sensitivity),
        "least-squares",
        [*rest, bent.row_of(face, least_squares), _lost(lost, line.sensitivity)],
        confidence,
    )
    quantities = [
        Quantity(
            "minimum-zone",
            value,
            "mm",
            combined.expanded,
            combined.degrees_of_freedom,
            limit,
            said,
            way,
        ),
        Quantity(
            "least-squares",
            ls_value,
            "mm",
            of_line.expanded,
            of_line.degrees_of_freedom,
            way=way,
        ),
        Quantity(
            "bow",
            crown,
            "mm",
            of_bow.expanded,
            of_bow.degrees_of_freedom,
            way="crown" if crown > 0 else "hollow",
        ),
    ]
    settled: Settle | None = None
    if said == "cannot-tell" and limit is not None:
        settled = settle(
            value,
            combined,
            limit,
            of_zone.between,
            of_zone.groups,
            count=face.count or None,
        )
    remarks += _contradictions(face, combined, value, limit)
    remarks += too_fine(evidence)
    remarks += short_pushes(
        [max(t.travel) - min(t.travel) for t in evidence.traces if t.travel]
    )
    contact = contacts(evidence, face, rest, bent, confidence, remarks)
    if of_zone.between.single:
        remarks.append(Remark("one-pass", values={"source": "usual"}))
    jig = evidence.gear.jig
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        verdict=said,
        confidence=confidence,
        settle=settled,
        sweeps=face.rows,
        budget=combined.rows,
        single_sweep=of_zone.between.single,
        profile=[(float(x), float(f)) for x, f in zip(face.x, face.f, strict=True)],
        contact=contact,
        remarks=remarks,
    )


def _limit(evidence: Evidence) -> float | None:
    """What was asked for; else the usual limit where a sled is named."""
    usual = STRAIGHT if evidence.gear.jig is not None else None
    return given_number(evidence.options, "straight") or usual


def _straightness(
    face: Face,
    differ: Differs,
    line: Literal["minimum-zone", "least-squares"],
    rest: Sequence[Part | None],
    confidence: float,
) -> tuple[float, Combined]:
    """What noise adds to a straightness is taken off, and the interval is that of what
    is left."""
    from bench.geometry.straightness import less_noise
    from bench.uncertainty import combine

    left = less_noise(face.x, face.f, face.covariance, line)
    rows = differ.rows(float(left.standard_uncertainty))
    return float(left.straightness), combine([*rows, *rest], confidence)


def _bow_row(
    face: Face, sensitivity: Array, rest: Sequence[Part | None], confidence: float
) -> Combined:
    from bench.uncertainty import combine

    return combine([*differs(face, sensitivity).between.parts, *rest], confidence)


def _lost(lost: Array, sensitivity: Array) -> Part | None:
    """What averaging takes from one number; a bound, for the form may as well have been
    lost by some other way."""
    from bench.uncertainty import rectangular

    return rectangular("form averaged away", float(abs(sensitivity @ lost)))


def _span(evidence: Evidence, face: Face) -> Part | None:
    """The indicator's own error over what it moved through, mm; every form is a
    difference of its readings."""
    from bench.uncertainty import span

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
    from bench.uncertainty import rectangular

    if face.g is not None:
        return None
    given = given_number(evidence.options, "straightedge")
    if given is not None:
        remarks.append(Remark("straightedge-as-told"))
        return rectangular("straightedge", given)
    bound = STRAIGHTEDGE * face.length
    values = {"bound": float(bound)}
    remarks.append(Remark("straightedge-unknown", values=values, severity="warning"))
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
    face: Face, combined: Combined, value: float, limit: float | None
) -> list[Remark]:
    """A straightedge that shows no error, or far more than the fence, was perhaps not
    turned as drawn. An indicator that was turned with it takes one for the other: said
    wherever the verdict would then be another."""
    from bench.geometry.straightness import minimum_zone

    if face.g is None:
        return []
    of_edge = float(minimum_zone(face.x, face.g).straightness)
    fuzz = combined.expanded
    far_more = of_edge > 3.0 * max(value, fuzz) and of_edge > 0.05
    if far_more or (limit is not None and value <= limit < of_edge - fuzz):
        values = {"crooked": of_edge}
        return [Remark("straightedge-crooked", values=values, severity="warning")]
    if value > 3.0 * fuzz and of_edge < 0.1 * value:
        return [Remark("set-ups-alike", severity="warning")]
    return []


KIND = "fence-straight"
CHECK = Check(
    kind=KIND,
    question="Is the sled's fence straight?",
    plan=plan,
    evaluate=evaluate,
    quantities=("minimum-zone", "least-squares", "bow"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        Option(
            "placements", "choice", "Which set-ups to take", "both", ("both", AS_IS)
        ),
        Option(
            "straight",
            "length",
            "How straight is good enough; 0.05 mm for a sled unless said",
            low=0.001,
            high=10.0,
        ),
        Option(
            "straightedge",
            "length",
            "How straight the straightedge is, where it is not rolled over",
            low=0.0,
            high=10.0,
        ),
        *BENDING_OPTIONS,
    ),
    needs=("jig",),
    rank=5,
    accepts=accepts,
)
