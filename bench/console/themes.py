"""Three themes: in colour, without colour, and for the Pi's own screen.

`shop` has colour, `pencil` has none, `tube` has the 16 colours and the code page 437 of
the Pi's own screen. A theme gives every role a style; signs and words carry the
meaning, colour only helps.
"""

from __future__ import annotations

from typing import get_args

import msgspec
from rich.style import Style

from bench.console.glyphs import PLAIN, RICH, GlyphSet
from bench.console.text import Role

ROLES: tuple[Role, ...] = get_args(Role)


class ConsoleTheme(msgspec.Struct, frozen=True):
    name: str
    glyphs: GlyphSet
    background: str
    foreground: str
    dark: bool
    role_styles: dict[Role, str]  # role -> colours and attributes, as rich writes them

    def styles(self) -> dict[Role, Style]:
        base = Style.parse(f"{self.foreground} on {self.background}")
        return {
            role: base + Style.parse(self.role_styles.get(role, "")) for role in ROLES
        }


SHOP = ConsoleTheme(
    "shop", RICH, "#1c1a17", "#ece4d4", True,
    {
        "strong": "bold #fffaf0",
        "faint": "#a89f8e",
        "good": "bold #9ccf6a",
        "bad": "bold #ff8f70",
        "unsure": "bold #f2c14e",
        "caution": "#ffc9a8",
        "act": "bold #fffaf0",
        "number": "#fff3c4",
        "stale": "#8d8576",
        "bar": "bold #ece4d4 on #3a342b",
        "bar-good": "bold #9ccf6a on #3a342b",
        "bar-bad": "bold #1c1a17 on #ff8f70",
        "bar-unsure": "bold #f2c14e on #3a342b",
        "cap": "#ece4d4 on #3a342b",
        "cap-first": "bold #1c1a17 on #e8b64c",
        "rule": "#8d8576",
        "wood": "#c98f55",
        "steel": "#b9c7d0",
        "probe": "bold #7fd0e8",
        "dot": "#7fd0e8",
        "dot-old": "#8d8576",
        "aside": "bold #ff8f70",
        "chosen": "bold #1c1a17 on #d8cdb6",
    },
)  # fmt: skip
PENCIL = ConsoleTheme(
    "pencil", RICH, "#ffffff", "#000000", False,
    {
        "strong": "bold",
        "faint": "#505050",
        "good": "bold",
        "bad": "bold reverse",
        "unsure": "bold underline",
        "caution": "",
        "act": "bold",
        "number": "bold",
        "stale": "#707070",
        "bar": "#000000 on #d8d8d8",
        "bar-good": "bold #000000 on #d8d8d8",
        "bar-bad": "bold #ffffff on #000000",
        "bar-unsure": "bold underline #000000 on #d8d8d8",
        "cap": "#000000 on #d8d8d8",
        "cap-first": "bold #ffffff on #000000",
        "rule": "#707070",
        "wood": "#505050",
        "steel": "#303030",
        "probe": "bold",
        "dot-old": "#707070",
        "aside": "bold",
        "chosen": "bold reverse",
    },
)  # fmt: skip
TUBE = ConsoleTheme(
    "tube", PLAIN, "black", "white", True,
    {
        "strong": "bright_white",
        "good": "bright_green",
        "bad": "bright_red",
        "unsure": "bright_yellow",
        "caution": "bright_yellow",
        "act": "bright_white",
        "number": "bright_white",
        "bar": "black on white",
        "bar-good": "black on white",
        "bar-bad": "black on bright_red",
        "bar-unsure": "black on bright_yellow",
        "cap": "black on white",
        "cap-first": "black on bright_yellow",
        "wood": "yellow",
        "steel": "bright_cyan",
        "probe": "bright_green",
        "dot": "bright_green",
        "dot-old": "cyan",
        "aside": "bright_red",
        "chosen": "black on white",
    },
)  # fmt: skip
THEMES = (SHOP, PENCIL, TUBE)


def find_theme(name: str) -> ConsoleTheme:
    """ValueError names those there are."""
    for look in THEMES:
        if look.name == name:
            return look
    raise ValueError(
        f"no look is called {name!r}; there are:"
        f" {', '.join(look.name for look in THEMES)}"
    )


def theme_for_terminal(term: str, no_colour: bool) -> ConsoleTheme:
    """What suits the terminal where nothing was said."""
    if term in ("linux", "vt100", "vt220", "ansi"):
        return TUBE
    return PENCIL if no_colour else SHOP
