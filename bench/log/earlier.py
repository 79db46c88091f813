"""Findings that an earlier version recorded with sentences only, read as those of this
version.
"""

from __future__ import annotations

import msgspec

from bench.finding import Finding, Remark

# what every sentence about a square that did not fit its history held, before remarks
# had codes; the square's history must pass such a finding over
_SQUARE_DOUBTED = "was it turned over"


def with_remarks(finding: Finding) -> Finding:
    """The sentences of an earlier version as remarks that are shown as they stand.

    Its doubts, which had codes already, stood first among its sentences.
    """
    if finding.remarks or not finding.notes:
        return finding
    remarks = [_noted(note) for note in finding.notes[len(finding.doubts) :]]
    return msgspec.structs.replace(finding, remarks=remarks)


def _noted(note: str) -> Remark:
    if _SQUARE_DOUBTED in note:
        return Remark("noted-square-doubted", values={"text": note})
    return Remark("noted", values={"text": note})
