"""The live move in words: what to do, and what was done so far."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.readout import verdict_line
from bench.console.widgets.words import Words
from bench.protocol import LiveMoveNotice
from bench.units import length_words, rounded_words

LEAST_DRAWN = 0.0005  # mm, half of the last digit that is shown


class LiveWords(Words):
    watches = frozenset({"live"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        live = self.view.live
        if live is None:
            return
        bad = live.wrong or live.past
        sign = self.glyphs.bad if bad else self.glyphs.right_mark
        yield f"{sign} {live.words}", "bad" if bad else "act"


class LiveFacts(Words):
    """How far it was moved, the band that is good enough, what the screw drew."""

    watches = frozenset({"live"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        live, units = self.view.live, self.view.units
        if live is None:
            return
        if live.tolerance is not None:
            yield f"Good enough within {length_words(live.tolerance, units)}.", "text"
        if live.moved is not None:
            yield f"Moved {self._signed(live, live.moved)}.", "text"
        if live.drawn is not None and abs(live.drawn) >= LEAST_DRAWN:
            yield f"The screw drew it {self._signed(live, live.drawn)}.", "text"
        if live.verdict is not None:
            sign, words, role = verdict_line(live.verdict, self.glyphs)
            tight = live.phase == "go" and live.verdict == "inside"
            when = "once it is tight" if tight else "as it stands"
            yield f"{sign} {words} {when}", role

    def _signed(self, live: LiveMoveNotice, mm: float) -> str:
        """A distance of the free end with its direction."""
        size = rounded_words(abs(mm), live.uncertainty or 0.0, self.view.units)
        return f"{size} {'away from' if mm > 0 else 'toward'} you"
