"""A result in words: the danger, what is, how much, and what to do."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.host import LOW
from bench.console.widgets.words import Words
from bench.protocol import Finding
from bench.render import result
from bench.render.names import part_name
from bench.render.remarks import notes_of, remark_words, said_first
from bench.render.result import diagnosis


class ResultWords(Words):
    """What is found and what to do now. Too close to call begins with what would settle
    it."""

    watches = frozenset({"result", "past", "gear", "health"})

    def finding(self) -> Finding | None:
        return self.view.finding

    def sentences(self) -> Iterable[tuple[str, str]]:
        finding = self.finding()
        if finding is None or not finding.quantities:
            return self._nothing()
        if self.app.size.height < LOW:
            return self._shortly(finding)
        close = finding.verdict == "cannot-tell"
        what, act = self._what_is(finding), [self._act(finding)]
        return [*act, *what] if close else [*what, *act]

    def _shortly(self, finding: Finding) -> list[tuple[str, str]]:
        """Where there is little room: the danger, what to do, and the way."""
        danger = self._what_is(finding)[:1] if self._warns(finding) else []
        way = result.in_short(finding, self.view.units, self.view.board(finding))
        return [*danger, self._act(finding), *([] if danger else [(way, "text")])]

    def _warns(self, finding: Finding) -> bool:
        dangerous = result.danger(finding, self.view.units) is not None
        return dangerous or diagnosis(finding) is not None

    def _nothing(self) -> list[tuple[str, str]]:
        view = self.view
        if not view.here:
            words = "`sweepgauge daemon` starts one, `sweepgauge demo` pretends a saw."
            return [("The screen waits for the daemon.", "act"), (words, "text")]
        if view.gear is not None and not view.gear.jigs:
            return [("No sled yet: describe yours.", "act")]
        return [("Nothing measured yet on this sled.", "act")]

    def _what_is(self, finding: Finding) -> list[tuple[str, str]]:
        view, bad = self.view, self.glyphs.bad
        said = result.headline(finding, view.units, view.board(finding))
        out: list[tuple[str, str]] = []
        if said.danger is not None:
            out.append((f"{bad} {said.danger}", "bad"))
        wrong = diagnosis(finding)
        if wrong is not None:
            out.append((f"{bad} {remark_words(wrong, view.units)}", "bad"))
        out += [(text, "strong") for text in said.lead]
        return out + [(text, "faint") for text in said.small]

    def _act(self, finding: Finding) -> tuple[str, str]:
        """What to do now."""
        if finding.proposed is not None and self.host.requests.moved:
            return "The move is noted. Check again.", "act"
        words = result.next_act(finding, self.view.units)
        return f"{self.glyphs.right_mark} {words}", "act"


class PastWords(ResultWords):
    """An earlier result."""

    def __init__(self, finding: Finding) -> None:
        super().__init__()
        self._finding = finding

    def finding(self) -> Finding | None:
        return self._finding

    def _act(self, finding: Finding) -> tuple[str, str]:
        became = self.view.moves.get(finding.id, "")
        words = {
            "made": "The move was made.",
            "verified": "The move was made, and proved.",
        }
        return words.get(became, ""), "text"


class FurtherWords(Words):
    """Leaves, the other quantities, what limits it most, remarks."""

    watches = frozenset({"result", "past", "gear"})

    def __init__(self, finding: Finding | None = None) -> None:
        super().__init__()
        self._finding = finding

    def sentences(self) -> Iterable[tuple[str, str]]:
        view = self.view
        finding = self._finding or view.finding
        if finding is None or not finding.quantities:
            return
        if finding.proposed is not None and not self.host.requests.moved:
            jig = view.jig_gear(finding.jig)
            for text in result.leaves(finding.proposed, jig, view.units):
                yield text, "text"
        for text in result.others(finding, view.units):
            yield text, "faint"
        if finding.budget:
            part = part_name(finding.budget[0].part)
            yield f"Limits it most: {part}.", "faint"
        shown = diagnosis(finding) or said_first(finding)
        for note in notes_of(finding, view.units, but=shown):
            yield note, "faint"
