"""The terms of a cut from the latest findings of a sled and its saw.

What was never measured enters with the trade's allowance: rectangular, its half-width
over the square root of three.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks.shared.pooling import slopes_of
from bench.cut.conditions import CutConditions
from bench.cut.contact_difference import turned_against
from bench.cut.forecast import MORE_PASSES, Part, Term
from bench.finding import Finding, Quantity
from bench.gear import Jig, Saw
from bench.uncertainty.budget import ROOT_3, SEAT
from bench.uncertainty.distributions import t_quantile
from bench.uncertainty.sweeps import scatter_within

# the checks that a forecast is made from
FENCE = "fence-square"
OF_SLED = (
    FENCE,
    "fence-straight",
    "side-play",
    "runner-fit",
    "upright",
    "mitre-square",
)
OF_SAW = ("slot-blade", "plate-wobble")
# what happened to the gear, and the checks that then tell of it as it was
OUTDATES: Mapping[str, tuple[str, ...]] = {
    "dropped": (FENCE,),
    "moved": (FENCE,),
    "runners": ("side-play", "runner-fit"),
    "blade": ("slot-blade", "plate-wobble"),
    "saw": (FENCE, "slot-blade"),
}

ROOT_12 = math.sqrt(12.0)

# allowances, half-widths; common practice, no source
FENCE_ALLOWANCE = 0.10 / 300.0  # rad, an everyday sled fence
BOW_ALLOWANCE = (0.05, 600.0)  # mm of bow, over mm of sled fence
SLOT_ALLOWANCE = (0.02, 500.0)  # mm of bow, over mm of slot
BLADE_ALLOWANCE = Saw("").parallel  # rad, of the blade against the slot
FREE_SCATTER = 100e-6  # rad, standard, of a cut in slots whose play nobody measured
# rad, standard, what a whole check leaves unknown; found by simulation, no source
CHECKED = {"fence": 17e-6, "bow": 15e-6, "slot": 10e-6}
# rad, standard, of a sled held to a wall; found by simulation, no source
HELD_SCATTER = 20e-6
CHORD = 200.0  # mm of the blade at the table's height; common practice, no source
# mm from the sled fence to where a pass over the square's arm ends: the handle, and the
# clear stretch before it; half-width beside it; common practice, no source
PASS_ENDS, PASS_ENDS_WITHIN = 30.0, 15.0
SWEPT = 250.0  # mm of a pass, where it is not known
FEWEST_PASSES = 2  # degrees of freedom that tell a scatter
LATEST_FINDINGS = 20  # findings that still speak for the sled as it is


class LoggedFinding(msgspec.Struct, frozen=True):
    """A finding of the log with what the log knows beside it.

    hold: the wall to which the sled was held. outdated: what it measured was moved or
    changed since, so that it tells of that as it was. swept: mm of a pass.
    """

    finding: Finding
    age_days: int
    hold: str | None = None
    outdated: bool = False
    swept: float | None = None


def cut_terms(
    results: Sequence[LoggedFinding], conditions: CutConditions, jig: Jig | None
) -> list[Term]:
    """results: newest first, of this sled, or of its saw where it is the saw's."""
    play = _play(results, conditions)
    terms = [
        _fence(results),
        _bow(results, conditions, jig),
        _slot(results, conditions, jig),
        play,
    ]
    if not conditions.clear:
        terms.append(_heel(results, conditions))
    if play.check != "fence-square" or play.assumed:
        # the passes of a held sled were reseated: their scatter has the seat in it
        terms.append(_allowance("seat", FENCE, scatter=SEAT, lasting=True))
    return terms


def latest(
    results: Iterable[LoggedFinding],
    check: str,
    quantity: str,
    *,
    outdated: bool = False,
) -> tuple[LoggedFinding, Quantity] | None:
    """The newest that still tells of the saw and the sled as they are; with `outdated`
    the newest of all."""
    for one in results:
        if one.finding.check == check and (outdated or not one.outdated):
            for q in one.finding.quantities:
                if q.name == quantity:
                    return one, q
    return None


def standard(result: LoggedFinding, quantity: Quantity) -> float:
    """The standard uncertainty from the expanded one, by the degrees of freedom that it
    was made with: JCGM 100:2008, G.3."""
    freedom = quantity.degrees_of_freedom
    return quantity.uncertainty / t_quantile(result.finding.confidence, freedom)


def _measured(result: LoggedFinding, part: Part, u: float = 0.0, **more: Any) -> Term:
    """The term that a finding tells; u: standard uncertainty of its bias, which more
    passes halve."""
    finding = result.finding
    return Term(
        part=part,
        check=finding.check,
        uncertainty=u,
        finding=finding.id,
        age_days=result.age_days,
        **more,
    )


def _allowance(part: Part, check: str, u: float = 0.0, **more: Any) -> Term:
    """The term of what nobody measured; u: standard uncertainty of its bias."""
    return Term(part=part, check=check, uncertainty=u, assumed=True, **more)


def _fence(results: Sequence[LoggedFinding]) -> Term:
    found = latest(results, FENCE, "fence")
    if found is None:
        u, best = FENCE_ALLOWANCE / ROOT_3, CHECKED["fence"]
        return _allowance("fence", FENCE, u, best_uncertainty=best)
    u, best = standard(*found), standard(*found) * MORE_PASSES
    value = found[1].value
    return _measured(found[0], "fence", u, value=value, best_uncertainty=best)


def _bow(
    results: Sequence[LoggedFinding], conditions: CutConditions, jig: Jig | None
) -> Term:
    fence = jig.fence if jig is not None else "near"
    for one in results:
        if one.finding.check != "fence-straight":
            continue
        turned = turned_against(
            one.finding, conditions.stretch, conditions.handle_stretch, fence
        )
        if turned is None:
            continue  # an older one may reach further
        value, u = turned
        best = u * MORE_PASSES
        return _measured(one, "bow", u, value=value, best_uncertainty=best)
    # the chord of a parabola is as steep as its tangent in the middle
    height, over = BOW_ALLOWANCE
    apart = sum(conditions.stretch) / 2 - sum(conditions.handle_stretch) / 2
    u = 8 * height * abs(apart) / over**2 / ROOT_3
    return _allowance("bow", "fence-straight", u, best_uncertainty=CHECKED["bow"])


def _slot(
    results: Sequence[LoggedFinding], conditions: CutConditions, jig: Jig | None
) -> Term:
    """The sled's heading where the cut is made against that where it was swept."""
    fence = latest(results, FENCE, "fence", outdated=True)
    swept = (fence[0].swept if fence is not None else None) or SWEPT
    # travel grows while the sled fence comes nearer to the teeth; a far one goes away
    further = PASS_ENDS + swept / 2 - conditions.cut / 2
    if jig is not None and jig.fence == "far":
        further = -further
    # the slot stays as it was, whatever becomes of the sled fence
    found = latest(results, FENCE, "slot-curvature", outdated=True)
    if found is None:
        height, over = SLOT_ALLOWANCE
        u = 8 * height / over**2 / ROOT_3 * abs(further)
        return _allowance("slot", FENCE, u, best_uncertainty=CHECKED["slot"])
    bend = found[1].value
    u = math.hypot(standard(*found) * further, bend * PASS_ENDS_WITHIN / ROOT_3)
    best = u * MORE_PASSES
    return _measured(found[0], "slot", u, value=bend * further, best_uncertainty=best)


def _heel(results: Sequence[LoggedFinding], conditions: CutConditions) -> Term:
    """The bias by which the rear teeth turn the kept part's edge where the cut is not
    pushed clear: from nothing to the blade's lean over its chord, so the mean is half
    of it."""
    per_rad = CHORD / conditions.cut
    found = latest(results, "slot-blade", "blade")
    if found is None:
        # toward the kept part one time in two, anywhere up to the usual limit
        u = BLADE_ALLOWANCE * per_rad / math.sqrt(18.0)
        return _allowance("heel", "slot-blade", u, practice=True)
    blade = found[1].value
    toward = (blade > 0) == (conditions.at != "right")  # the kept part
    most = abs(blade) * per_rad if toward else 0.0
    u = math.hypot(most / ROOT_12, standard(*found) * per_rad / 2)
    value = math.copysign(most / 2, -blade)
    return _measured(found[0], "heel", u, value=value, practice=True)


def _play(results: Sequence[LoggedFinding], conditions: CutConditions) -> Term:
    fence = latest(results, FENCE, "fence", outdated=True)
    held = conditions.held
    if held is None:
        held = fence is not None and fence[0].hold is not None
    if held:
        passes = [one for one in results if one.hold is not None]
        scatter = pooled_scatter(passes)
        if scatter is None:
            return _allowance("play", FENCE, scatter=HELD_SCATTER, lasting=True)
        term = _measured(passes[0], "play", scatter=scatter, lasting=True)
        return msgspec.structs.replace(term, check=FENCE)
    for check in ("side-play", "runner-fit"):
        found = latest(results, check, "yaw-play")
        if found is not None:
            scatter = abs(found[1].value) / ROOT_12
            return _measured(
                found[0], "play", scatter=scatter, best_scatter=HELD_SCATTER
            )
    return _allowance(
        "play", "side-play", scatter=FREE_SCATTER, best_scatter=HELD_SCATTER
    )


def pooled_scatter(results: Sequence[LoggedFinding]) -> float | None:
    """Standard deviation of reseated passes about the mean of their set-up, rad, of the
    latest findings; JCGM 100:2008, 4.2.4. None where too few tell it."""
    of_fence = [one.finding for one in results if one.finding.check == FENCE]
    squares, freedom = scatter_within(
        values
        for finding in of_fence[:LATEST_FINDINGS]
        # on one seat the seating is not in the scatter
        if all(row.part != "seat" for row in finding.budget)
        for values in slopes_of(finding).values()
    )
    return math.sqrt(squares / freedom) if freedom >= FEWEST_PASSES else None
