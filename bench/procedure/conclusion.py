"""From evidence to finding with verdict and move: the one road that live, recorded and
re-worked sweeps share.

Pure: id and time are given by the caller. The sentences (`notes`, the move's `text`)
are made from remarks in `bench.render.remarks`.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from bench.checks import find
from bench.checks.model import Check, Evidence, LeanTest, TapTest
from bench.checks.options import understood
from bench.checks.shared.doubts import evidence_doubts, settling_part
from bench.checks.shared.plausibility import lean_is_visible
from bench.finding import Doubt, Finding, Move, Remark, Settle, note, warning
from bench.moves.alignment import saw_move
from bench.moves.lever import fence_move, why_no_move


def conclude(evidence: Evidence, *, id: str, at: str) -> Finding:
    """Work the evidence out. Raises UnknownCheck, and EvidenceError where it cannot
    carry a finding.

    id and at (ISO 8601 with offset) are the caller's.
    """
    check = find(evidence.check)
    options, wrong = understood(check, evidence.options)
    evidence = msgspec.structs.replace(evidence, options=options)
    finding = check.evaluate(evidence)
    finding = _doubted(finding, [*evidence_doubts(evidence, check), *finding.doubts])
    remarks = [
        *finding.remarks,
        *(
            warning(
                "option-ignored",
                option=error.option.replace("_", " "),
                problem=error.problem,
            )
            for error in wrong
        ),
        *(_of_lean(evidence, lean) for lean in evidence.leans),
        *_of_taps(evidence.taps),
    ]
    own = saw_move(finding, check.turns_saw, evidence.gear.saw)
    if own is not None:
        remarks.insert(0, own)
    move, of_move = _move(check, evidence, finding)
    remarks.extend(of_move)
    return msgspec.structs.replace(finding, id=id, at=at, move=move, remarks=remarks)


def _doubted(finding: Finding, doubts: list[Doubt]) -> Finding:
    """The finding without a conclusion where there is a doubt: what would be a verdict
    cannot be told, and what would settle it is the doubt."""
    if not doubts:
        return finding
    return msgspec.structs.replace(
        finding,
        quantities=[
            msgspec.structs.replace(q, verdict="cannot-tell") if q.verdict else q
            for q in finding.quantities
        ],
        verdict="cannot-tell" if finding.verdict else None,
        settle=Settle(part=settling_part(doubts)) if finding.verdict else None,
        doubts=doubts,
    )


def _move(
    check: Check, evidence: Evidence, finding: Finding
) -> tuple[Move | None, list[Remark]]:
    """The move of a sled's fence with what is to be said of it, or why none is given;
    nothing where none is due."""
    jig = evidence.gear.jig
    first = finding.quantities[0] if finding.quantities else None
    moves_fence = check.turns_fence or check.moves is not None
    if jig is None or first is None or not moves_fence or finding.verdict == "inside":
        return None, []
    if finding.doubts:
        return None, [note("no-move-in-doubt")]
    if check.moves is not None:
        return check.moves(finding.quantities, jig, evidence.gear.leaves)
    move = fence_move(
        first.value,
        first.uncertainty,
        jig,
        evidence.gear.leaves,
        then=check.verified_by,
    )
    return move, [] if move is not None else [why_no_move(jig)]


def _of_lean(evidence: Evidence, lean: LeanTest) -> Remark:
    if not lean_is_visible(evidence, lean):
        return note("lean-without-play", lean.placement)
    play = abs(lean.right - lean.left)
    return note("lean-with-play", lean.placement, play=play)


def _of_taps(taps: Sequence[TapTest]) -> list[Remark]:
    """The remarks of each set-up on its last tap, which let it go on, and on the worst
    before it."""
    remarks: list[Remark] = []
    for placement in dict.fromkeys(tap.placement for tap in taps):
        here = [tap for tap in taps if tap.placement == placement]
        off = [abs(t.after - t.before) for t in here if not t.came_back]
        back = [abs(t.after - t.before) for t in here if t.came_back]
        if not back:
            remarks.append(warning("tap-off", placement, off=max(off)))
        elif off:
            remarks.append(
                note("tap-back-at-last", placement, back=back[-1], off=max(off))
            )
        else:
            remarks.append(note("tap-back", placement, back=back[-1]))
    return remarks
