"""A finding's doubts and remarks as sentences for a person, from codes and values."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.finding import Finding, Move, Remark, RemarkValue
from bench.render.names import placement_name, quantity_name
from bench.render.remark_templates import TEMPLATES
from bench.render.template import sentence
from bench.units import System

if TYPE_CHECKING:
    from bench.finding import EvidenceError


def remark_words(remark: Remark, units: System) -> str:
    """Whole sentences. A remark that this version does not know, as one from a newer
    version, is shown by its code and values."""
    placement = placement_name(remark.placement) if remark.placement else ""
    values = {
        **{name: _plain(name, value) for name, value in remark.values.items()},
        "placement": placement,
        "pass": _pass_words(remark.sweep),
        "where": f"At {placement}" if placement else "In this check",
    }
    try:
        words = sentence(TEMPLATES[remark.code], values, units)
    except (LookupError, ValueError, TypeError):
        given = ", ".join(f"{name} {value}" for name, value in remark.values.items())
        return f"{remark.code}: {given or 'no values'}."
    if remark.severity == "refused" and remark.sweep is not None:
        return f"{_pass_words(remark.sweep)} at {placement} is not used. {words}"
    return words


_IDENTIFIER = re.compile("[0-9a-f]{12}")  # of a pass, as it is made when it is taken
# values that name set-ups or quantities
_NAMES = ("lacking", "there", "set_ups", "slot", "runner", "low", "high")


def _plain(name: str, value: RemarkValue) -> RemarkValue:
    """Names of set-ups and quantities as they are told; anything else as it is."""
    if name == "quantity" and isinstance(value, str):
        return quantity_name(value)
    if name not in _NAMES:
        return value
    if isinstance(value, str):
        return placement_name(value)
    if isinstance(value, Sequence):
        return [placement_name(v) if isinstance(v, str) else v for v in value]
    return value


def _pass_words(sweep: str | None) -> str:
    """`Pass 3` of a file; a pass that was taken live has an identifier and no name."""
    if sweep is None or _IDENTIFIER.fullmatch(sweep):
        return "One pass"
    return f"Pass {sweep}"


def leading_remark(finding: Finding) -> Remark | None:
    """The remark before the figures: whether they agree with what else was found."""
    return finding.remarks[0] if finding.comparison and finding.remarks else None


def notes_of(
    finding: Finding, units: System, *, but: Collection[Remark | None] = ()
) -> list[str]:
    """The notes beside a finding's figures, the doubts first; without those of `but`,
    which are shown elsewhere. Notes without codes stay as they stand."""
    if not finding.doubts and not finding.remarks:
        return finding.notes
    return [
        remark_words(remark, units)
        for remark in (*finding.doubts, *finding.remarks)
        if remark not in but
    ]


def with_notes(finding: Finding, units: System) -> Finding:
    """The finding with its notes made from its doubts and remarks, and its move's text
    from the steps."""
    move = finding.move
    if move is not None:
        move = msgspec.structs.replace(move, text=move_words(move, units))
    return msgspec.structs.replace(finding, notes=notes_of(finding, units), move=move)


def move_words(move: Move, units: System) -> str:
    """The steps of the hands. A move of an earlier version has its text and no
    steps."""
    if not move.steps:
        return move.text
    return " ".join(remark_words(step, units) for step in move.steps)


def evidence_error_words(error: EvidenceError, units: System) -> str:
    """The error by which nothing could be concluded, with the reason for which the last
    pass was refused."""
    if error.because is None:
        return str(error)
    return f"{error}: {remark_words(error.because, units)}"
