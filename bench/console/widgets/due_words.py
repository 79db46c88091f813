"""What is due for a check, the most pressing first."""

from __future__ import annotations

from collections.abc import Iterable

from bench.console.host import LOW
from bench.console.widgets.words import Words
from bench.render.upkeep import due_lines

PRESSING = ("now", "never-checked", "soon")
CHANGED = ("step", "trend")  # reasons that want an answer to what happened
MOST = 2  # rows, one on a low screen


class DueWords(Words):
    watches = frozenset({"due", "gear", "result"})

    def sentences(self) -> Iterable[tuple[str, str]]:
        document = self.view.due
        if document is None:
            return
        rows = [row for row in document["due"] if row["state"] in PRESSING]
        rows.sort(key=lambda row: row["jig"] != self.view.the_jig)
        for row in rows[: MOST if self.app.size.height >= LOW else 1]:
            (line,) = due_lines({"due": [row], "left_out": []})
            asks = " What happened? 9 answers it." * (row["reason"] in CHANGED)
            yield line + asks, "unsure" if row["state"] == "now" else "faint"
