"""Remarks that swept checks add to their findings: what was not seen, what does not
fit, what would help.

Pure. Slopes in rad, lengths in mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.checks.model import Evidence, Known
from bench.finding import Remark

if TYPE_CHECKING:
    from bench.uncertainty import Between, Combined

# codes of a finding whose square does not fit what is known of it: perhaps it was not
# turned over
SQUARE_DOUBTED = frozenset(
    {
        "square-changed",
        "square-over-tolerance",
        "square-poor",
        "noted-square-doubted",  # by an earlier version, see `bench.log.findings`
    }
)
OF_STEPS = ("indicator over the span used", "resolution")
# mm from one pass's level to the next, over which an indicator's own steps scatter
SHIFT = 0.2, 0.5


def of_sweeps(evidence: Evidence, between: Between) -> list[Remark]:
    """One pass only, more scatter than ever before, walls that change."""
    remarks = []
    known = evidence.known
    in_log = known.pool is not None or known.single_sweep_scatter is not None
    if between.single:
        play = "play" if known.yaw_play is not None else "usual"
        source = "log" if in_log else play
        remarks.append(Remark("one-pass", values={"source": source}))
    if between.asks_for_more:
        remarks.append(Remark("scatter-grew", severity="warning"))
    holds = sorted(
        {trace.hold for trace in evidence.traces if trace.push and trace.hold}
    )
    declared = wall_of(evidence)
    if len(holds) > 1:
        values = {"walls": holds}
        remarks.append(Remark("walls-mixed", values=values, severity="warning"))
    elif holds or declared:
        wall = {"wall": holds[0] if holds else declared or ""}
        remarks.append(Remark("wall", values=wall))
    return remarks


def wall_of(evidence: Evidence) -> str | None:
    """Against which wall the sled is held: as said for this check, else as the sled's
    description says once and for all; None where neither says."""
    jig = evidence.gear.jig
    said = evidence.options.get("hold") or (jig.hold if jig is not None else None)
    return str(said) if said else None


def of_hold(evidence: Evidence) -> list[Remark]:
    """Where it was not said against which wall the sled is held."""
    if wall_of(evidence) is not None or all(t.hold for t in evidence.traces if t.push):
        return []
    play = evidence.known.yaw_play
    if play is None:
        return [Remark("yaw-unknown")]
    return [Remark("hold-unsaid", values={"play": play})]


def rests_on(known: Known, *, pooled: bool) -> list[Remark]:
    """What of the log the give or take rests on."""
    passes = known.pool.passes if known.pool is not None and pooled else 0
    checks = known.set_ups.checks if known.set_ups is not None else 0
    if not passes and not checks:
        return [Remark("set-ups-usual")]
    return [Remark("rests-on-log", values={"passes": passes, "checks": checks})]


def undecided(combined: Combined, tolerance: float | None) -> list[Remark]:
    """The tolerance this can decide, where the one that is set is beyond it."""
    from bench.uncertainty import can_ever_decide, decidable_tolerance

    if tolerance is None or can_ever_decide(combined, tolerance):
        return []
    values = {"least": float(decidable_tolerance(combined)), "limit": tolerance}
    return [Remark("limit-too-fine", values=values)]


def of_steps(combined: Combined, said: str | None) -> list[Remark]:
    """What helps a coarse instrument at once, where it is why nothing can be told."""
    if (
        said != "cannot-tell"
        or not combined.rows
        or combined.rows[0].part not in OF_STEPS
    ):
        return []
    return [Remark("shift-stand", values={"low": SHIFT[0], "high": SHIFT[1]})]
