"""The move: which end, which way, how far, what to stack and where; and that it was
made."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from textual.widget import Widget

from bench.console.contents import pages
from bench.console.contents.live import indicator_picture
from bench.console.requests import Stands
from bench.console.screens.list_page import ListPage, Row
from bench.console.widgets.detail_pane import Detail
from bench.console.widgets.viewer import TextPanel
from bench.protocol import Finding
from bench.render.result import move_distance
from bench.render.screen import screen_text
from bench.units import length_words
from bench.units.parsing import parse_length

# how the indicator stands on the sled: in words, and the face that its tip is on
ON_FENCE: dict[Stands, tuple[str, str]] = {
    "beyond": ("Beyond the sled fence, looking back at you", "far"),
    "behind": ("On your side of the sled fence, looking away from you", "near"),
}
ON_ARM: tuple[Stands, ...] = ("right", "left")


def _stands(how: Stands) -> Detail:
    return Detail(draw=partial(indicator_picture, stands=how))


class MoveScreen(ListPage):
    page = "move"
    title_words = "The move"
    drawn = True
    over_when_typed = True

    def above(self) -> Iterable[Widget]:
        yield TextPanel(pages.move_words)

    def detail(self) -> Detail:
        return Detail(draw=pages.move_picture)

    def rows(self) -> list[Row]:
        finding, units = self.view.finding, self.view.units
        if finding is None or finding.proposed is None:
            return []
        move = finding.proposed
        out = []
        if move.fence is None:  # a mitre fence stands across the indicator's way
            live = "Make it live: the distance left, large"
            out.append(Row(live, self.opens(LiveSetUpScreen), leads=True))
        stack = sum(move.leaves)
        if move.leaves:
            words = screen_text("made-leaves", units, stack=stack)
            out.append(Row(words, partial(self._made, finding, stack, "leaves")))
        if not move.leaves or length_words(stack, units) != move_distance(move, units):
            sized = {"distance": move.distance, "uncertainty": move.uncertainty}
            words = screen_text("made-as-said", units, **sized)
            said = partial(self._made, finding, move.distance, "as said")
            out.append(Row(words, said))
        out.append(Row("Made, by another amount", partial(self._type, finding)))
        return out

    def _made(self, finding: Finding, distance: float, how: str) -> None:
        if self.requests.note_move(finding, distance, how):
            self.host.go_home()

    def _type(self, finding: Finding) -> None:
        def accept(text: str) -> None:
            distance = parse_length(text)
            self.requests.note_move(finding, distance, "by another amount")

        self.ask_value("How far was it moved?", "", accept, "thin")


class LiveSetUpScreen(ListPage):
    """The choice of how the indicator stands on the sled for the live move."""

    page = "live_set_up"
    title_words = "How does the indicator stand on the sled?"
    drawn = True
    over_when_typed = True

    def rows(self) -> list[Row]:
        finding = self.view.finding
        jig = self.view.find_jig(finding.jig if finding is not None else None)
        reach = None if jig is None else jig.pivot_to_stop or jig.pivot_to_screw
        units = self.view.units
        stands = "stands" if reach is None else "stands-at"
        fence = [
            Row(
                words,
                partial(self._begin, how),
                screen_text(stands, units, face=face, reach=reach),
                leads=how == "beyond",
                detail=_stands(how),
            )
            for how, (words, face) in ON_FENCE.items()
        ]
        words = "On the {} of the square's arm"
        arm = [
            Row(words.format(side), partial(self._type, side), detail=_stands(side))
            for side in ON_ARM
        ]
        return [*fence, *arm]

    def _begin(self, stands: Stands) -> None:
        if self.requests.begin_live("fence", stands):
            self.host.go_home()

    def _type(self, stands: Stands) -> None:
        def accept(text: str) -> None:
            self.requests.begin_live("arm", stands, parse_length(text))

        words = "How far along the arm from the pivot's line is the tip?"
        self.ask_value(words, "", accept, "length")
