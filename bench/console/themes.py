"""Three themes: in colour, without colour, and for the Pi's own screen.

`shop` has colour, `pencil` has none, `tube` has the 16 colours and the code page 437 of
the Pi's own screen. A theme is a set of variables for the style sheet; signs and words
carry the meaning, colour only helps.
"""

from __future__ import annotations

from functools import cache

from rich.style import Style
from textual.theme import Theme

from bench.console.drawings.glyphs import PLAIN, RICH, GlyphSet
from bench.console.drawings.styled_text import Role

_PLAIN_STYLES = {
    "good-style": "bold",
    "bad-style": "bold",
    "unsure-style": "bold",
    "bar-unsure-style": "bold",
}


def _theme(name: str, ground: str, ink: str, *, dark: bool, **more: str) -> Theme:
    """A theme whose own variables stand beside those that Textual derives."""
    variables = {key.replace("_", "-"): value for key, value in more.items()}
    return Theme(
        name=name,
        primary=variables["act"],
        foreground=ink,
        background=ground,
        surface=ground,
        panel=variables["bar"],
        success=variables["good"],
        warning=variables["unsure"],
        error=variables["bad"],
        dark=dark,
        variables={
            **_PLAIN_STYLES,
            "border": variables["rule"],
            "border-blurred": variables["rule"],
            "block-cursor-background": variables["chosen"],
            "block-cursor-foreground": variables["chosen-text"],
            "block-cursor-text-style": "bold",
            "block-cursor-blurred-background": variables["chosen"],
            "block-cursor-blurred-foreground": variables["chosen-text"],
            "block-cursor-blurred-text-style": "bold",
            "footer-background": variables["bar"],
            "footer-foreground": variables["bar-text"],
            "footer-description-foreground": variables["bar-text"],
            "footer-key-foreground": variables["bar-key"],
            "input-cursor-background": ink,
            "input-cursor-foreground": ground,
            "scrollbar": variables["rule"],
            "scrollbar-hover": ink,
            "scrollbar-active": ink,
            "scrollbar-background": variables["bar"],
            "scrollbar-background-hover": variables["bar"],
            "scrollbar-background-active": variables["bar"],
            "scrollbar-corner-color": ground,
            **variables,
        },
    )


SHOP = _theme(
    "shop", "#1c1a17", "#ece4d4", dark=True,
    strong="#fffaf0", faint="#a89f8e", good="#9ccf6a", bad="#ff8f70", unsure="#f2c14e",
    act="#e8b64c", act_text="#1c1a17", caution="#ffc9a8", number="#fff3c4",
    stale="#8d8576", rule="#8d8576", wood="#c98f55", steel="#b9c7d0", probe="#7fd0e8",
    trace="#7fd0e8", old_trace="#8d8576", bar="#3a342b", bar_text="#ece4d4",
    bar_key="#f2c14e", bar_bad="#ff8f70", bar_bad_text="#1c1a17", chosen="#d8cdb6",
    chosen_text="#1c1a17",
)  # fmt: skip
PENCIL = _theme(
    "pencil", "#ffffff", "#000000", dark=False,
    strong="#000000", faint="#505050", good="#000000", bad="#000000", unsure="#000000",
    act="#000000", act_text="#ffffff", caution="#000000", number="#000000",
    stale="#707070", rule="#707070", wood="#505050", steel="#303030", probe="#000000",
    trace="#000000", old_trace="#707070", bar="#d8d8d8", bar_text="#000000",
    bar_key="#000000", bar_bad="#000000", bar_bad_text="#ffffff", chosen="#000000",
    chosen_text="#ffffff", bad_style="bold reverse", unsure_style="bold underline",
    bar_unsure_style="bold underline",
)  # fmt: skip
TUBE = _theme(
    "tube", "#000000", "#c0c0c0", dark=True,
    strong="#ffffff", faint="#c0c0c0", good="#00ff00", bad="#ff0000", unsure="#ffff00",
    act="#ffff00", act_text="#000000", caution="#ffff00", number="#ffffff",
    stale="#c0c0c0", rule="#c0c0c0", wood="#808000", steel="#00ffff", probe="#00ff00",
    trace="#00ff00", old_trace="#008080", bar="#c0c0c0", bar_text="#000000",
    bar_key="#000000", bar_bad="#ff0000", bar_bad_text="#000000", chosen="#c0c0c0",
    chosen_text="#000000",
)  # fmt: skip
THEMES = (SHOP, PENCIL, TUBE)
THEME_NAMES = tuple(theme.name for theme in THEMES)


# how each role looks: the variable of its colour, that of its ground, and attributes
_ROLE_STYLES: dict[Role, tuple[str, str, str]] = {
    "text": ("", "", ""),
    "strong": ("strong", "", "bold"),
    "faint": ("faint", "", ""),
    "good": ("good", "", "good-style"),
    "bad": ("bad", "", "bad-style"),
    "unsure": ("unsure", "", "unsure-style"),
    "caution": ("caution", "", ""),
    "act": ("strong", "", "bold"),
    "number": ("number", "", ""),
    "bad-figure": ("bad", "", ""),
    "unsure-figure": ("unsure", "", ""),
    "stale": ("stale", "", ""),
    "bar": ("bar-text", "bar", "bold"),
    "bar-good": ("bar-text", "bar", "bold"),
    "bar-bad": ("bar-bad-text", "bar-bad", "bold"),
    "bar-unsure": ("bar-key", "bar", "bar-unsure-style"),
    "rule": ("rule", "", ""),
    "wood": ("wood", "", ""),
    "steel": ("steel", "", ""),
    "probe": ("probe", "", "bold"),
    "trace": ("trace", "", ""),
    "old-trace": ("old-trace", "", ""),
    "aside": ("bad", "", "bold"),
}


@cache
def role_styles(theme: str) -> dict[Role, Style]:
    """The style of each role of what is drawn, in the theme of that name."""
    chosen = find_theme(theme) if theme in THEME_NAMES else SHOP
    variables = {"": str(chosen.foreground), "ground": str(chosen.background)}
    variables |= chosen.variables
    return {
        role: Style.parse(
            f"{variables.get(attributes, attributes)} {variables[colour]}"
            f" on {variables[ground or 'ground']}"
        )
        for role, (colour, ground, attributes) in _ROLE_STYLES.items()
    }


def find_theme(name: str) -> Theme:
    """ValueError names those there are."""
    for theme in THEMES:
        if theme.name == name:
            return theme
    raise ValueError(f"no look is called {name!r}; there are: {', '.join(THEME_NAMES)}")


def glyphs_of(theme: str) -> GlyphSet:
    """The signs that suit the theme; RICH for one that is not ours."""
    return PLAIN if theme == TUBE.name else RICH


def theme_for_terminal(term: str, no_colour: bool) -> Theme:
    """The theme that suits the terminal where none was chosen."""
    if term in ("linux", "vt100", "vt220", "ansi"):
        return TUBE
    return PENCIL if no_colour else SHOP
