"""What earlier findings tell, read from the log beside the writer. Blocking; called off the event loop.

May import: bench.log, bench.checks.model.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Known, SquareHistory
from bench.finding import Finding
from bench.log import export, read


class Shown(msgspec.Struct, frozen=True):
    finding: Finding
    evidence: Evidence
    moves: list[read.MoveRow]


def findings(
    path: Path, *, jig: str | None = None, check: str | None = None, most: int = 50
) -> list[Finding]:
    """Newest first."""
    with read.open_read(path) as db:
        rows = read.list_findings(db, jig=jig, check=check, last=most)
    return [row.finding for row in reversed(rows)]


def listed(
    path: Path, *, jig: str | None = None, check: str | None = None, most: int = 50
) -> tuple[list[Finding], dict[str, str]]:
    """Findings, newest first, and by finding id what became of its move: planned, made, verified."""
    with read.open_read(path) as db:
        rows = read.list_findings(db, jig=jig, check=check, last=most)
        moves = read.moves(db)
    shown = {row.finding.id for row in rows}
    became = {
        m.finding: "verified" if m.verified_by else "made" if m.made is not None else "planned"
        for m in moves
        if m.finding in shown
    }
    return [row.finding for row in reversed(rows)], became


def show(path: Path, finding: str) -> Shown:
    """Raises LogError when there is no such finding."""
    with read.open_read(path) as db:
        found, evidence = read.show_finding(db, finding)
        moves = [m for m in read.moves(db) if m.finding == found.id]
    return Shown(found, evidence, moves)


def export_text(path: Path, finding: str | None) -> str:
    """One finding's sweeps as CSV in the recorded shape, or every finding with its evidence, a JSON line each."""
    out = io.StringIO()
    with read.open_read(path) as db:
        if finding is not None:
            export.sweeps_csv(read.show_finding(db, finding)[1], out)
        else:
            export.json_lines(db, read.list_findings(db), out)
    return out.getvalue()


def known(path: Path, kind: str, gear: EvidenceGear, options: Mapping[str, Any]) -> Known:
    """The square's error from the latest finding that measured it with this square."""
    del options
    square: SquareHistory | None = None
    with read.open_read(path) as db:
        for row in reversed(read.list_findings(db, check=kind, last=read.KNOWN_FINDINGS)):
            measured = next((q for q in row.finding.quantities if q.name == "square"), None)
            if measured is None:
                continue
            used = read.show_finding(db, row.finding.id)[1].gear.square
            if (used.name if used else None) != (gear.square.name if gear.square else None):
                continue
            square = SquareHistory(
                error=measured.value,
                standard_uncertainty=_standard(
                    measured.uncertainty, measured.degrees_of_freedom, row.finding.confidence
                ),
                degrees_of_freedom=measured.degrees_of_freedom,
            )
            break
    return Known(square=square)


def _standard(expanded: float, degrees_of_freedom: float | None, confidence: float) -> float:
    from bench.uncertainty import t_quantile

    return expanded / t_quantile(confidence, degrees_of_freedom)
