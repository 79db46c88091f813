"""The screens of the console, one in a file, by the names under which they are put
up."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import Any, Literal

from bench.console.screens.base import WorkScreen
from bench.console.screens.check import CheckScreen
from bench.console.screens.first_start import FirstStartScreen
from bench.console.screens.home import HomeScreen
from bench.console.screens.live import LiveScreen

Place = Literal["home", "check", "live", "first_start"]
# screens that the daemon's state calls for
WORK_SCREENS: dict[Place, type[WorkScreen]] = {
    "home": HomeScreen,
    "check": CheckScreen,
    "live": LiveScreen,
    "first_start": FirstStartScreen,
}

# pages that are put up over one of those: module and class, loaded when asked for
_PAGES = {
    "checks": ("checks", "ChecksScreen"),
    "symptoms": ("checks", "SymptomsScreen"),
    "move": ("move", "MoveScreen"),
    "live_set_up": ("move", "LiveSetUpScreen"),
    "limits": ("document_pages", "LimitsScreen"),
    "cut": ("document_pages", "CutScreen"),
    "shop": ("document_pages", "ShopScreen"),
    "drift": ("document_pages", "DriftScreen"),
    "log": ("log", "LogScreen"),
    "notes": ("document_pages", "NotesScreen"),
    "sleds": ("sleds", "SledsScreen"),
    "sled_form": ("sled_form", "SledForm"),
    "settings": ("settings", "SettingsScreen"),
    "due": ("due", "DueScreen"),
    "event": ("due", "EventScreen"),
    "keys": ("keys", "KeysScreen"),
    "confirm": ("confirm", "ConfirmScreen"),
}


def make_page(page: str, *given: Any) -> Any:
    """The screen of that name. Raises KeyError."""
    module, name = _PAGES[page]
    return getattr(import_module(f"{__name__}.{module}"), name)(*given)


# those that are made once and put up again and again, which takes no time
SCREENS: dict[str, Callable[[], Any]] = {
    **{str(place): make for place, make in WORK_SCREENS.items()},
    **{
        page: partial(make_page, page)
        for page in _PAGES
        if page not in ("sled_form", "confirm")
    },
}
