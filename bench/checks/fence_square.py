"""Is the sled's fence square to the cut? A square stands with its handle on the fence; the sled is swept past.

b1 = a - e with the handle left of the arm and b2 = a + e with the square turned over (near fence), so that
a = (b1 + b2) / 2 is the fence and e = (b2 - b1) / 2 the square's own error: the reversal of Evans, Hocken,
Estler (1996), CIRP Annals 45(2), 617-634. May import: bench.checks, bench.finding, bench.gear; arithmetic
inside functions only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from bench.checks.cautions import BLADE_DOWN, COUNT_OFF, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Mount, Option, OptionValue, Step
from bench.checks.slopes import Placed, place, shared_rows
from bench.finding import Finding, Quantity, Settle
from bench.gear import Jig, LeftRight

if TYPE_CHECKING:
    from bench.uncertainty import Part

LEFT, RIGHT = "handle-left", "handle-right"
OTHER: dict[str, LeftRight] = {"left": "right", "right": "left"}
RESEAT = "Lift the square, wipe it, press it home again."


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    mount: Mount = "carried" if options.get("mount") == "carried" else "standing"
    first: LeftRight = "left" if options.get("side") == "left" else "right"
    only = options.get("placements") or "both"
    far = gear.jig is not None and gear.jig.fence == "far"
    lies = "toward you" if far else "away from you"
    left = Step(
        placement=LEFT,
        words=f"Square on the sled: handle against the sled fence to the LEFT of the arm, arm pointing {lies}. "
        f"Indicator standing on the {first.upper()} of the arm, at the height of the leading teeth.",
        gather="sweep",
        side=first,
        mount=mount,
        picture="square-handle-left",
        reseat=RESEAT,
    )
    second = OTHER[first]
    right = Step(
        placement=RIGHT,
        words=f"Turn the square over: handle to the RIGHT of the arm, on the same stretch of the sled fence, the "
        f"same edge of the arm. Indicator standing on the {second.upper()} of the arm.",
        gather="sweep",
        side=second,
        mount=mount,
        picture="square-handle-right",
        reseat=RESEAT,
    )
    if only == LEFT:
        return (left,)
    if only == RIGHT:
        return (right,)
    return (left, right)


def evaluate(evidence: Evidence) -> Finding:
    from bench.uncertainty import between_sweeps, combine, settle, verdict

    notes: list[str] = []
    present = {t.placement for t in evidence.traces}
    steps = [
        s for s in plan({**evidence.options, "placements": "both"}, evidence.gear) if s.placement in present
    ]
    if not steps:
        raise EvidenceError(f"no sweep at {LEFT} or {RIGHT}")
    placed, rows = place(evidence, steps, notes)
    jig, known = evidence.gear.jig, evidence.known
    confidence = 0.99 if known.looks else 0.95
    # the arm points toward you from a far fence, so the square's error enters the other way round
    sense = -1.0 if jig is not None and jig.fence == "far" else 1.0
    both = len(placed) == 2
    weights = [0.5, 0.5] if both else [1.0]
    groups = [p.group(w) for p, w in zip(placed, weights, strict=True)]
    between = between_sweeps(groups, known.pool, known.yaw_play, known.single_sweep_scatter)
    quantities: list[Quantity] = []
    if both:
        b1, b2 = placed[0].rotation, placed[1].rotation
        a, e = (b1 + b2) / 2, sense * (b2 - b1) / 2
        extra: list[Part | None] = []
    else:
        a, row = _with_known_square(evidence, placed[0], sense, notes)
        extra = [row]
    combined = combine(
        [*between.parts, *shared_rows(evidence, placed, weights, a, common=True), *extra], confidence
    )
    tolerance = jig.tolerance if jig is not None else None
    said = verdict(a, combined.expanded, tolerance) if tolerance is not None else None
    quantities.append(
        Quantity(
            "fence",
            a,
            "rad",
            combined.expanded,
            combined.degrees_of_freedom,
            tolerance,
            said,
            fence_way(a, jig),
        )
    )
    if both:
        of_square = combine(
            [*between.parts, *shared_rows(evidence, placed, weights, e, common=False)], confidence
        )
        quantities.append(
            Quantity(
                "square",
                e,
                "rad",
                of_square.expanded,
                of_square.degrees_of_freedom,
                way="wider than square" if e > 0 else "tighter than square",
            )
        )
        _compare_square(evidence, e, of_square.expanded, notes)
    settled: Settle | None = None
    if said == "cannot-tell" and tolerance is not None:
        settled = settle(
            a, combined, tolerance, between, groups, length=placed[0].length, count=_count(placed)
        )
    if between.single:
        notes.append(
            "One push a set-up: how much pushes differ was not seen, and a generous figure stands for it."
        )
    if known.yaw_play is None and not evidence.options.get("hold"):
        notes.append(
            "It is not known how far the runners let the sled yaw; the answer is for the sled as it was held."
        )
    if both:
        notes.append(
            "The answer is for the line that the handle rested on; a bowed fence meets other boards otherwise."
        )
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        verdict=said,
        confidence=confidence,
        settle=settled,
        sweeps=rows,
        budget=combined.rows,
        single_sweep=between.single,
        notes=notes,
    )


def _with_known_square(
    evidence: Evidence, placed: Placed, sense: float, notes: list[str]
) -> tuple[float, Part | None]:
    """One placement: the square's error comes from its log, else from its tolerance."""
    from bench.uncertainty import square

    sign = sense if placed.name == LEFT else -sense
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        notes.append(
            "One set-up: the square's error is the one measured before, for the same edge and stretch."
        )
        row = square(standard_uncertainty=history.standard_uncertainty, dof=history.degrees_of_freedom)
        return placed.rotation + sign * history.error, row
    if owned is not None and owned.tolerance is not None:
        row = square(tolerance=owned.tolerance, length=owned.arm or placed.length)
        notes.append(
            "One set-up: the square is trusted within its tolerance. Turn it over to know its error."
        )
        return placed.rotation, row
    notes.append(
        "One set-up and nothing known of the square: the answer is the fence and the square together. Turn the "
        "square over and push again, or name a square with its tolerance."
    )
    return placed.rotation, None


def _compare_square(evidence: Evidence, e: float, expanded: float, notes: list[str]) -> None:
    history = evidence.known.square
    if history is None:
        return
    apart = abs(e - history.error)
    if apart > (expanded**2 + (2 * history.standard_uncertainty) ** 2) ** 0.5:
        notes.append(
            f"The square's error came out {apart * 300:.3f} mm per 300 mm off what it was before: was it turned over, "
            f"with the indicator on the same edge and the side as said? Or was the square dropped?"
        )


def _count(placed: Sequence[Placed]) -> float:
    return max(fit.count for p in placed for _, fit in p.pushes)


def fence_way(a: float, jig: Jig | None) -> str:
    """Which end stands wrong. Turned counter-clockwise the left end has come toward the operator."""
    end: LeftRight = jig.moving_end if jig is not None else "left"
    near = (a > 0) if end == "left" else (a < 0)
    return f"{end} end too near you" if near else f"{end} end too far from you"


KIND = "fence-square"

CHECK = Check(
    kind=KIND,
    question="Is the sled's fence square to the cut?",
    plan=plan,
    evaluate=evaluate,
    quantities=("fence", "square"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        Option("placements", "choice", "Which set-ups to take", "both", ("both", LEFT, RIGHT)),
        Option("hold", "choice", "Against which wall of the slots the sled is held", None, ("left", "right")),
        Option(
            "touch_away", "length", "How far from the leading teeth the indicator touches, along the travel"
        ),
        Option("slot_straight", "length", "How straight the slot is over a runner's length"),
        Option("runner_length", "length", "Length of the runners"),
    ),
    needs=("jig",),
)
