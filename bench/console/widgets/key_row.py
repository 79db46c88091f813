"""The row of keys at the bottom."""

from __future__ import annotations

from textual.screen import Screen
from textual.widgets import Footer


class KeyRow(Footer):
    """A footer that is made anew only when other keys are to be shown."""

    def bindings_changed(self, screen: Screen[object]) -> None:
        keys = [
            (one.binding.key, one.binding.description, one.enabled)
            for one in screen.active_bindings.values()
            if one.binding.show
        ]
        if keys == getattr(self, "_shown_keys", None) and self.children:
            return
        # a terminal without the focus is told nothing: it is told when it has it again
        self._shown_keys = keys if screen.app.app_focus else None
        super().bindings_changed(screen)
