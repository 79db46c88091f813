"""Every key of the screen below and what it does."""

from __future__ import annotations

from textual.binding import ActiveBinding

from bench.console.screens.list_page import ListPage, Row


class KeysScreen(ListPage):
    """Each can be taken from here, by itself or by Enter on its row."""

    page = "keys"
    title_words = "All keys"

    def rows(self) -> list[Row]:
        return [self._row(key) for key in self.host.keys_below]

    def _row(self, key: ActiveBinding) -> Row:
        binding = key.binding
        words = binding.tooltip or binding.description
        shown = binding.key_display or binding.key
        return Row(words, lambda: self._do(key), key=shown)

    def action_take(self, index: int) -> None:
        """A digit is the key of that name, not the row at that place."""
        keys = [row.key for row in self._rows]
        if str(index + 1) in keys:
            self.take(keys.index(str(index + 1)))

    def _do(self, key: ActiveBinding) -> None:
        self.dismiss()
        self.app.call_later(self.app.run_action, key.binding.action, key.node)
