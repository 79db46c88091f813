"""What was said last, and the line of whoever started the console."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.host import TALL
from bench.console.widgets.words import Words


class NoticePanel(Words):
    """The newest sentence stands last; bad news has its sign and its colour."""

    watches = frozenset({"notice", "ask", "sure"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        view = self.view
        remark = view.ask.remark if view.ask is not None else None
        told = [one for one in view.notices if one.words != remark]
        for one in told[-3:] if self.app.size.height >= TALL else told[-1:]:
            sign = f"{self.glyphs.bad} " if one.bad else ""
            yield sign + one.words, "bad" if one.bad else "text"


class Tip(Words):
    """A line of whoever started the console, beside what is asked."""

    watches = frozenset({"ask", "live", "result", "notice", "keys", "gear"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        yield self.host.tip(), "unsure"
