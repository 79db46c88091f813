"""What the first start asks for, and what else can be done about it."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console import first_start
from bench.console.instrument_view import InstrumentView
from bench.console.widgets.words import Words
from bench.units import length_words

ASKS: dict[first_start.Stage, str] = {
    "indicator": "Find the indicator: press its plunger.",
    "travel": "Find the travel: push the sled away from you.",
    "leaf": "Prove unit and direction: slip a leaf of {leaf} under the tip.",
    "sled": "Describe the sled: where its pivot and its screw are.",
}
HINTS: dict[str, str] = {
    "travel": "No travel scale? 0 skips it: the sled is then stopped at marks.",
    "leaf": "Another leaf? 8 has the settings: name its thickness there.",
}


class GuideWords(Words):
    watches = frozenset({"ask", "gear", "health", "notice", "number"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        view, guide, learn = self.view, self.host.guide, self.view.learn
        stage = first_start.stage_now(view, guide)
        if learn is not None:
            yield learn.words, "act"
        elif stage is not None:
            leaf = length_words(guide.leaf, view.units)
            yield ASKS[stage].format(leaf=leaf), "act"
        if first_start.bare(view):
            if not view.ports and (learn is None or learn.what == "indicator"):
                yield "No cable is heard yet: plug it in.", "faint"
                yield "`sweepgauge demo` pretends a saw.", "faint"
            one = self._troubled()
            if one is not None:
                yield f"{one.name}: {one.words}", "faint"
        if stage in HINTS and (learn is None or learn.phase == "asking"):
            yield HINTS[stage], "faint"

    def _troubled(self) -> InstrumentView | None:
        """Where no cable is heard: the one whose words say what would do."""
        ports = self.view.ports.values()
        if any(one.live for one in ports):
            return None
        for kind in ("denied", "busy", "unknown", "silent"):
            for one in ports:
                if one.state == kind:
                    return one
        return None
