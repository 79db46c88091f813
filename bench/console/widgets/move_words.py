"""What to move, the leaves to stack and where they go."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.host import LOW
from bench.console.widgets.words import Words
from bench.render.result import leaves, short_move


class MoveWords(Words):
    watches = frozenset({"result", "gear", "past"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        finding = self.view.finding
        if finding is None or finding.proposed is None:
            yield "Nothing to move.", "text"
            return
        units = self.view.units
        yield short_move(finding.proposed, units), "act"
        told = leaves(finding.proposed, self.view.jig_gear(finding.jig), units)
        for text in told[:1] if self.app.size.height < LOW else told:
            yield text, "text"
