"""A finger drawn over the screen scrolls what lies below it."""

from __future__ import annotations

from typing import Any

from textual import events
from textual.app import App
from textual.widget import Widget


class Swipe:
    """Follows a finger, or a mouse whose button is held, from where it went down."""

    def __init__(self, app: App[Any]) -> None:
        self._app = app
        self._row = 0  # where it was last
        self._scrolls = False  # it has scrolled since it went down

    def over(self, event: events.MouseEvent) -> bool:
        """Scrolls as far as it was drawn. True where it is lifted after that."""
        if isinstance(event, events.MouseDown):
            self._row, self._scrolls = event.screen_y, False
        elif isinstance(event, events.MouseMove) and event.button:
            rows, self._row = self._row - event.screen_y, event.screen_y
            box = self._box(event) if rows else None
            if box is not None:
                box.scroll_relative(y=rows, animate=False)
                self._scrolls = True
        return self._scrolls and isinstance(event, events.MouseUp)

    def _box(self, event: events.MouseEvent) -> Widget | None:
        """The box to scroll there; None where a scroll bar is held."""
        if self._app.mouse_captured is not None:
            return None
        below, _ = self._app.get_widget_at(*event.screen_offset)
        boxes = (one for one in below.ancestors_with_self if isinstance(one, Widget))
        return next((one for one in boxes if one.max_scroll_y > 0), None)
