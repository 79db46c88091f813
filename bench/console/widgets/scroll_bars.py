"""Scroll bars without the eighths of a block that the Pi's own screen has not."""

from __future__ import annotations

from typing import ClassVar

from textual.scrollbar import ScrollBar, ScrollBarRender


class WholeCells(ScrollBarRender):
    """The bar begins and ends with a whole cell."""

    VERTICAL_BARS: ClassVar[list[str]] = [" "] * 8
    HORIZONTAL_BARS: ClassVar[list[str]] = [" "] * 8


def use_whole_cells() -> None:
    """From now on, in the whole program: Textual keeps it at the class."""
    ScrollBar.renderer = WholeCells
