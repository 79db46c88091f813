"""A finding's doubts and remarks as sentences for a person, from codes and values."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from bench.finding import Finding, Remark
from bench.render.remark_templates import TEMPLATES
from bench.render.template import sentence
from bench.units import System

if TYPE_CHECKING:
    from bench.checks.model import EvidenceError


def remark_words(remark: Remark, units: System) -> str:
    """Whole sentences. A remark that this version does not know, as one from a newer
    version, is shown by its code and values."""
    values = {
        **remark.values,
        "placement": remark.placement,
        "sweep": remark.sweep,
        "where": f"At {remark.placement}" if remark.placement else "In this check",
    }
    try:
        words = sentence(TEMPLATES[remark.code], values, units)
    except (LookupError, ValueError, TypeError):
        given = ", ".join(f"{name} {value}" for name, value in remark.values.items())
        return f"{remark.code}: {given or 'no values'}."
    if remark.severity == "refused" and remark.sweep is not None:
        return f"Pass {remark.sweep} at {remark.placement} is not used. {words}"
    return words


def said_first(finding: Finding) -> Remark | None:
    """What comes before the figures: whether they agree with what else was found."""
    return finding.remarks[0] if finding.comparison and finding.remarks else None


def notes_of(
    finding: Finding, units: System, *, but: Remark | None = None
) -> list[str]:
    """What a finding says beside its figures, the doubts first; without the remark
    `but`, where it is shown elsewhere. Notes without codes stay as they stand."""
    if not finding.doubts and not finding.remarks:
        return finding.notes
    return [
        remark_words(remark, units)
        for remark in (*finding.doubts, *finding.remarks)
        if remark != but
    ]


def with_notes(finding: Finding, units: System) -> Finding:
    """The finding with its notes made from its doubts and remarks."""
    return msgspec.structs.replace(finding, notes=notes_of(finding, units))


def evidence_error_words(error: EvidenceError, units: System) -> str:
    """Why nothing could be concluded, with the reason for which the last pass was
    refused."""
    if error.because is None:
        return str(error)
    return f"{error}: {remark_words(error.because, units)}"
