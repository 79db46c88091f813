"""The forecast of the cut in words, of one sled or of all."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.widgets.words import Words


class CutWords(Words):
    watches = frozenset({"cut", "gear"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        document, units = self.view.cut, self.view.units
        yield "How will the cut come out?", "strong"
        if document is None:
            yield "Nothing is known of it yet.", "text"
            return
        # loaded when it is looked at: the start must stay quick
        from bench.render.cut import answer_lines

        if "sleds" in document:
            yield "Choose a sled first: 7.", "text"
            return
        *lines, last = answer_lines(document, units)
        for line in lines:
            yield line, "text"
        yield f"{self.glyphs.right_mark} {last}", "act"


class ShopWords(Words):
    watches = frozenset({"shop", "gear"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        yield "All sleds of the shop", "strong"
        document = self.view.shop
        if document is None or not document["sleds"]:
            yield "No sled is described yet.", "text"
            return
        # loaded when it is looked at: the start must stay quick
        from bench.render.cut import sled_lines

        for line in sled_lines(document, self.view.units):
            yield line, "text"
