"""Is the sled fence straight? Swept along a straightedge, once as it lies and once
rolled over.

p1 = f + g, p2 = f - g: rolled over about its own length the straightedge's error turns
its sign, so that f = (p1 + p2) / 2 is the fence alone (reversal: Evans, Hocken, Estler
(1996), CIRP Annals 45(2), 617-634). Straightness: ISO 12780-1:2011, minimum zone and
least squares. mm and rad; heights grow where the face stands proud.
"""

from __future__ import annotations

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Step
from bench.checks.options import OptionValues, choice, length
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.straightedge import AS_IS, BENDING_OPTIONS, PRESSED, ROLLED
from bench.finding import Finding

GENTLY = " Push it low at its base, with two fingers. Do not press on the straightedge."
RETURN_WORDS = f"Wipe the face and begin at the left end again.{GENTLY}"


def _pass(placement: str, words: str, picture: str) -> Step:
    return Step(
        placement,
        words,
        "sweep",
        picture=f"straightedge-{picture}",
        reseat=RETURN_WORDS,
        pushed="indicator",
        runs="right",
    )


AS_IT_LIES = _pass(
    AS_IS,
    "Straightedge along the sled fence, its ends on two equal blocks."
    " Indicator riding along the straightedge, its tip on the sled fence."
    " It begins at the left end; the travel counts from the blade." + GENTLY,
    AS_IS,
)
ROLLED_OVER = _pass(
    ROLLED,
    "Roll the straightedge over about its own length. The same end stays on the"
    " left. The edge that was ridden faces the other way. Do not swap its ends."
    + GENTLY,
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
    reseat="Begin at the left end again. Press as hard as before.",
)


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    if options.get("placements") == AS_IS:
        return (AS_IT_LIES,)
    if options.get("straightedge_thick") is not None:
        return (AS_IT_LIES, ROLLED_OVER)
    return (AS_IT_LIES, PRESSED_HARD, ROLLED_OVER)


def accepts(placement: str, options: OptionValues, gear: EvidenceGear) -> Step | None:
    return PRESSED_HARD if placement == PRESSED else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.checks.shared.face_form import face_finding

    return face_finding(evidence)


CHECK = Check(
    kind="fence-straight",
    question="Is the sled fence straight?",
    plan=plan,
    evaluate=evaluate,
    quantities=("minimum-zone", "least-squares", "bow"),
    cautions=AT_REST,
    options=(
        choice(
            "placements",
            "Which ways the straightedge lies",
            ("both", AS_IS),
            default="both",
        ),
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
