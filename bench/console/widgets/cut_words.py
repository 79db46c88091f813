"""The forecast of the cut in words."""

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
        from bench.render.cut import answer_lines, sled_lines

        if "sleds" in document:
            for line in sled_lines(document, units):
                yield line, "text"
            return
        *lines, last = answer_lines(document, units)
        for line in lines:
            yield line, "text"
        yield f"{self.glyphs.right_mark} {last}", "act"
