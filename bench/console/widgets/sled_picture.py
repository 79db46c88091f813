"""The sled seen from above: as it is described, its move, the indicator on it."""

from __future__ import annotations

from bench.console.requests import Stands
from bench.console.set_up_drawing import indicator_on_sled
from bench.console.sled_drawing import draw_sled
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing
from bench.protocol import Jig

WIDEST = 90


class SledPicture(Drawing):
    """The sled of the result on the screen, or one that is being described."""

    watches = frozenset({"gear", "result"})

    def __init__(self, jig: Jig | None = None) -> None:
        super().__init__()
        self._jig = jig

    def describe(self, jig: Jig) -> None:
        self._jig = jig
        self.show_view()

    def draw(self, wide: int, high: int) -> Block:
        finding = self.view.finding
        jig = self._jig or self.view.jig_gear(finding.jig if finding else None)
        if jig is None:
            return []
        return draw_sled(
            jig, None, min(wide, WIDEST), high, self.glyphs, self.view.units
        )


class MovePicture(Drawing):
    """Where the leaves and the stop go, and which way the end moves."""

    watches = frozenset({"gear", "result"})

    def draw(self, wide: int, high: int) -> Block:
        finding = self.view.finding
        jig = self.view.jig_gear(finding.jig if finding is not None else None)
        if jig is None or finding is None or finding.proposed is None:
            return []
        wide = min(wide, WIDEST)
        return draw_sled(
            jig, finding.proposed, wide, high, self.glyphs, self.view.units
        )


class IndicatorPicture(Drawing):
    """How the indicator stands on the sled for the live move."""

    watches = frozenset({"gear", "live"})

    def __init__(self, stands: Stands | None = None) -> None:
        super().__init__()
        self._stands = stands

    def stand(self, stands: Stands) -> None:
        self._stands = stands
        self.show_view()

    def draw(self, wide: int, high: int) -> Block:
        live = self.view.live
        stands = self._stands or (live.stands if live is not None else None)
        if stands is None:
            return []
        finding = self.view.finding
        jig = self.view.jig_gear(finding.jig if finding is not None else None)
        return indicator_on_sled(stands, jig, wide, self.glyphs)[:high]
