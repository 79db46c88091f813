"""Every key of the screen below and what it does; each can be taken from here."""

from __future__ import annotations

from textual.binding import ActiveBinding

from bench.console.screens.rows import Row, RowsScreen


class KeysScreen(RowsScreen):
    page = "keys"
    title_words = "All keys"

    def rows(self) -> list[Row]:
        return [self._row(key) for key in self.host.keys_below]

    def _row(self, key: ActiveBinding) -> Row:
        binding = key.binding
        words = binding.tooltip or binding.description
        shown = binding.key_display or binding.key
        return Row(f"{shown}: {words}", lambda: self._do(key))

    def _do(self, key: ActiveBinding) -> None:
        self.dismiss()
        self.app.call_later(self.app.run_action, key.binding.action, key.node)
