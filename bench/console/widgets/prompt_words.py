"""What is asked, and why the last thing was not kept."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.widgets.words import Words

LOW = 20  # rows of a screen under which the question is left out


class PromptWords(Words):
    watches = frozenset({"ask"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        ask = self.view.ask
        if ask is None or ask.phase == "cautions":
            return
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
