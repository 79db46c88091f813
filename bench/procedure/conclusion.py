"""From evidence to finding with verdict and move: the one road that live, recorded and
re-worked sweeps share.

Pure: id and time are given by the caller.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.checks import find
from bench.checks.model import Evidence, Tap
from bench.checks.options import understood
from bench.checks.shared.doubt_words import words
from bench.checks.shared.doubts import of_evidence, part
from bench.checks.shared.note_units import in_units
from bench.checks.shared.slips import lean_seen
from bench.finding import Doubt, Finding, Settle
from bench.moves.alignment import saw_move
from bench.moves.lever import fence_move, why_no_move

Units = Literal["mm", "inch"]


def conclude(evidence: Evidence, *, id: str, at: str, units: Units = "mm") -> Finding:
    """Work the evidence out. Raises UnknownCheck, and EvidenceError where it cannot
    carry a finding.

    id and at (ISO 8601 with offset) are the caller's; units only shape words: of the
    move and of the notes.
    """
    check = find(evidence.check)
    options, wrong = understood(check, evidence.options)
    evidence = msgspec.structs.replace(evidence, options=options)
    found = check.evaluate(evidence)
    found = _doubted(found, [*of_evidence(evidence, check), *found.doubts])
    notes = [
        *found.notes,
        *(f"{error}; it is worked out as though it was not said." for error in wrong),
    ]
    for lean in evidence.leans:
        play = abs(lean.right - lean.left)
        notes.append(
            f"Lean test at {lean.placement}: play {play:.3f} mm, side as declared."
            if lean_seen(evidence, lean)
            else (
                f"Lean test at {lean.placement}: it showed no play, so the side is only"
                " as said."
            )
        )
    notes += _tap_notes(evidence.taps)
    own = saw_move(found, check.turns_saw, evidence.gear.saw, units)
    if own is not None:
        notes.insert(0, own)
    move = None
    jig = evidence.gear.jig
    first = found.quantities[0] if found.quantities else None
    if (
        jig is not None
        and first is not None
        and check.turns_fence
        and found.verdict != "inside"
    ):
        held = (
            check.holds_back(evidence, found) if check.holds_back is not None else None
        )
        if found.doubts:
            held = "No move is given before that is cleared up."
        leaves = evidence.gear.leaves
        if held is None:
            move = fence_move(
                first.value,
                first.uncertainty,
                jig,
                leaves,
                units=units,
                then=check.verified_by,
            )
        if move is None:
            notes.append(held or why_no_move(jig) or "The move is too small to make.")
    return msgspec.structs.replace(
        found, id=id, at=at, move=move, notes=in_units(notes, units)
    )


def _doubted(found: Finding, doubts: list[Doubt]) -> Finding:
    """With a doubt nothing is concluded: what would be a verdict cannot be told, and
    hangs on what is doubted."""
    if not doubts:
        return found
    return msgspec.structs.replace(
        found,
        quantities=[
            msgspec.structs.replace(q, verdict="cannot-tell") if q.verdict else q
            for q in found.quantities
        ],
        verdict="cannot-tell" if found.verdict else None,
        settle=Settle(part=part(doubts)) if found.verdict else None,
        notes=[*(words(doubt) for doubt in doubts), *found.notes],
        doubts=doubts,
    )


def _tap_notes(taps: Sequence[Tap]) -> list[str]:
    """Of each set-up the last tap, which let it go on, and the worst before it."""
    notes: list[str] = []
    for placement in dict.fromkeys(tap.placement for tap in taps):
        off = [
            abs(t.after - t.before)
            for t in taps
            if t.placement == placement and not t.came_back
        ]
        back = [
            abs(t.after - t.before)
            for t in taps
            if t.placement == placement and t.came_back
        ]
        words = (
            f"the number came back to within {back[-1]:.3f} mm"
            if back
            else "the number never came back"
        )
        if off:
            words += (
                f"; before that it stayed {max(off):.3f} mm off"
                if back
                else f": {max(off):.3f} mm off"
            )
        notes.append(f"Tap test at {placement}: {words}.")
    return notes
