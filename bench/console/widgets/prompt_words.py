"""What is asked, and why the last thing was not kept."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.host import LOW
from bench.console.widgets.words import Words


class PromptWords(Words):
    watches = frozenset({"ask"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        ask = self.view.ask
        if ask is None or ask.phase == "cautions":
            return
        if ask.moving and self.app.size.height < LOW:
            return  # hands are busy: the line says more than the words
        if self.app.size.height >= LOW and ask.phase == "place":
            yield self.view.question, "faint"
        if ask.remark:
            yield f"{self.glyphs.bad} {ask.remark}", "bad"
        yield ask.words, "act"


class CautionWords(Words):
    """All at once, each marked; they are scrolled where they do not fit."""

    watches = frozenset({"ask"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        ask = self.view.ask
        for caution in ask.cautions if ask is not None else ():
            yield f"{self.glyphs.bad} {caution}", "caution"
