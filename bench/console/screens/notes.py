"""What the daemon noted when it came up, and what was said here since."""

from __future__ import annotations

from bench.console.screens.rows import Row, RowsScreen


class NotesScreen(RowsScreen):
    page = "notes"
    title_words = "What was noted"
    watches = frozenset({"notice"})

    def rows(self) -> list[Row]:
        notes = self.view.notes
        since = [s.words for s in self.view.notices if s.words not in notes]
        return [Row(words) for words in (*notes, *since)]
