"""The move: which end, which way, how far, what to stack and where; and that it was
made."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from bench.console.screens.check_form import with_unit
from bench.console.screens.live_set_up import LiveSetUpScreen
from bench.console.screens.rows import Row, RowsScreen
from bench.console.widgets.move_words import MoveWords
from bench.console.widgets.sled_picture import MovePicture
from bench.protocol import Finding
from bench.render.result import move_distance
from bench.units import length_words, parse_length


class MoveScreen(RowsScreen):
    page = "move"
    title_words = "The move"
    watches = frozenset({"gear", "result", "past"})

    def body(self) -> Iterable[Widget]:
        first, *rest = super().body()
        yield first
        yield MoveWords()
        yield from rest

    def below(self) -> Iterable[Widget]:
        yield MovePicture()

    def rows(self) -> list[Row]:
        finding, units = self.view.finding, self.view.units
        if finding is None or finding.proposed is None:
            return []
        move = finding.proposed
        out = []
        if move.fence is None:  # a mitre fence stands across the indicator's way
            live = "Make it live: the distance left, large"
            out.append(Row(live, self._live, leads=True))
        if move.leaves:
            stack = sum(move.leaves)
            words = f"Made, with the leaves: {length_words(stack, units)}"
            out.append(Row(words, lambda: self._made(finding, stack, "leaves")))
        words = f"Made, as said: {move_distance(move, units)}"
        out.append(Row(words, lambda: self._made(finding, move.distance, "as said")))
        out.append(Row("Made, by another amount", lambda: self._type(finding)))
        return out

    def _live(self) -> None:
        self.app.push_screen(LiveSetUpScreen())

    def _made(self, finding: Finding, distance: float, how: str) -> None:
        if self.requests.note_move(finding, distance, how):
            self.host.go_home()

    def _type(self, finding: Finding) -> None:
        units = self.view.units

        def accept(text: str) -> None:
            distance = parse_length(with_unit(text, units))
            self.requests.note_move(finding, distance, "by another amount")

        self.ask("How far was it moved?", "", accept)

    def _typed(self, text: str | None) -> None:
        if text is not None:
            self.host.go_home()
