"""What every widget has that shows something of the view model."""

from __future__ import annotations

from typing import ClassVar, cast

from textual.widget import Widget

from bench.console.glyphs import GlyphSet
from bench.console.host import Host
from bench.console.view_model import ViewModel


class Viewer(Widget):
    """Shows the view model anew whenever one of the parts it watches has changed."""

    watches: ClassVar[frozenset[str]] = frozenset()

    @property
    def host(self) -> Host:
        return cast(Host, self.app)

    @property
    def view(self) -> ViewModel:
        return self.host.view

    @property
    def glyphs(self) -> GlyphSet:
        return self.host.glyphs

    def view_changed(self, changed: frozenset[str]) -> None:
        if changed & self.watches or "all" in changed:
            self.show_view()

    def show_view(self) -> None:
        """Show what the view model says now."""
        raise NotImplementedError
