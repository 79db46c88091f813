"""The data of a report: results, documents and gear."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.finding import Finding

Document = Mapping[str, Any]  # of `drift`, `due` and `cut`


class ReportSource(msgspec.Struct, frozen=True):
    """at: ISO date of the report. findings: newest first, without those that a later
    one took the place of. moves: by finding what became of its move; distances: mm that
    it was made by. gear: by sled or saw, as its latest result used it. cuts: by sled.
    left_out: sentences on what could not be read."""

    at: str
    findings: list[Finding]
    moves: Mapping[str, str] = {}
    distances: Mapping[str, float] = {}
    gear: Mapping[str, EvidenceGear] = {}
    drift: Document = {}
    due: Document = {}
    cuts: Mapping[str, Document] = {}
    left_out: list[str] = []

    def subjects(self) -> list[tuple[str | None, str | None]]:
        """(sled, saw) of each section: the saws by themselves, then the sleds."""
        named = [(one.jig, one.saw) for one in self.findings]
        named += [(row["jig"], row["saw"]) for row in self.due.get("due", ())]
        found = {(jig, None if jig else saw) for jig, saw in named}
        return sorted(found, key=lambda one: (one[0] is not None, *map(str, one)))

    def of(self, jig: str | None, saw: str | None) -> list[Finding]:
        return [
            one
            for one in self.findings
            if one.quantities and one.jig == jig and (jig or one.saw == saw)
        ]

    def rows(self, document: str, jig: str | None, saw: str | None) -> list[Document]:
        """The series of `drift`, or the dates of `due`."""
        rows = {"drift": self.drift.get("series"), "due": self.due.get("due")}
        return [
            row
            for row in rows[document] or ()
            if row["jig"] == jig and (jig or row["saw"] == saw)
        ]

    def board(self, check: str, jig: str | None) -> float | None:
        """mm, the widest board of the sled where the check is of its fence."""
        known = checks().get(check)
        gear = self.gear.get(jig or "")
        if known is None or not known.turns_fence or gear is None or gear.jig is None:
            return None
        return gear.jig.widest_board
