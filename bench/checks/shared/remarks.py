"""Sentences that swept checks add to their findings: what was not seen, what does not
fit, what would help.

Pure. Slopes in rad, lengths in mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.checks.model import Evidence

if TYPE_CHECKING:
    from bench.uncertainty import Between, Combined

# by these words a finding is known that the square's history did not fit
NOT_TURNED = "was it turned over"
OF_STEPS = ("indicator over the span used", "resolution")


def of_sweeps(
    evidence: Evidence, between: Between, what: str = "push a set-up"
) -> list[str]:
    """One push only, more scatter than ever before, walls that change."""
    notes = []
    if between.single:
        source = (
            "the log's scatter"
            if evidence.known.pool is not None
            or evidence.known.single_sweep_scatter is not None
            else (
                "the yaw play"
                if evidence.known.yaw_play is not None
                else "a generous figure"
            )
        )
        notes.append(
            f"One {what}: how much pushes differ was not seen, and {source} stands"
            " for it."
        )
    if between.asks_for_more:
        notes.append(
            "Today's pushes differ more than those in the log: the log does not speak"
            " for them. Take three more pushes, and look for what is loose."
        )
    holds = sorted(
        {trace.hold for trace in evidence.traces if trace.push and trace.hold}
    )
    declared = evidence.options.get("hold")
    if len(holds) > 1:
        notes.append(
            "Some pushes were held against one wall, some against another"
            f" ({', '.join(holds)}): the answer is between the two, for neither."
        )
    elif holds or declared:
        notes.append(
            "The answer is for a sled held against the"
            f" {holds[0] if holds else declared} wall."
        )
    return notes


def undecided(combined: Combined, tolerance: float | None) -> list[str]:
    """The tolerance this can decide, where the one that is set is beyond it."""
    from bench.uncertainty import can_ever_decide, decidable_tolerance

    if tolerance is None or can_ever_decide(combined, tolerance):
        return []
    least = decidable_tolerance(combined)
    return [
        "With this instrument and set-up even a perfect one could not be called good"
        f" enough: what it can decide is {least * 300:.3f} mm per 300 mm, not"
        f" {tolerance * 300:.3f} mm per 300 mm."
    ]


def of_steps(combined: Combined, said: str | None) -> list[str]:
    """What helps a coarse instrument at once, where it is why nothing can be told."""
    if (
        said != "cannot-tell"
        or not combined.rows
        or combined.rows[0].part not in OF_STEPS
    ):
        return []
    return [
        "The indicator's own errors over the little that it moves weigh most. Shift its"
        " stand so that the reading changes by 0.2 to 0.5 mm from push to push: then"
        " they scatter, and more pushes take them out."
    ]
