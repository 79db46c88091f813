"""The application as its widgets and screens know it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol, cast

import msgspec

from bench.console.drawings.glyphs import GlyphSet
from bench.console.requests import Requests
from bench.console.view_model import ViewModel

if TYPE_CHECKING:
    from bench.console.app import Console

NARROW = 72  # columns under which words and drawing do not stand side by side
TALL = 40  # rows of a screen from which there is room for what is only of use
LOW = 22  # rows of a screen under which only what is needed now is shown


class ExtraKey(msgspec.Struct, frozen=True):
    """A key of whoever starts the console, such as the pretend saw's hands. `word` may
    depend on what is asked; `can`: whether it would do anything now."""

    key: str
    word: Callable[[], str]
    help: str
    run: Callable[[], None]
    can: Callable[[], bool] = lambda: True
    leads: bool = False  # it stands beside what is asked, large enough for a thumb


# what is asked before the screen is left, where no extension asks
LEAVING = "Leave the screen? A check in progress goes on in the daemon."


class Extension(Protocol):
    """Whoever starts the console may add keys and a line beside what is asked."""

    keys: tuple[ExtraKey, ...]
    leaving: str  # what is asked before the screen is left

    def tip(self, page: str, view: ViewModel, requests: Requests) -> str: ...


class Hosted:
    """What a widget or a screen knows of its application. It is no widget itself:
    Textual styles a class by its first base that is one."""

    @property
    def host(self) -> Console:
        return cast("Console", self.app)  # type: ignore[attr-defined]

    @property
    def view(self) -> ViewModel:
        return self.host.view

    @property
    def requests(self) -> Requests:
        return self.host.requests

    @property
    def glyphs(self) -> GlyphSet:
        return self.host.glyphs
