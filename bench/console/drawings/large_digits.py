"""Large digits, drawn from dots, to be read from two metres; and the letters of CLOSES.

Each digit is five dots wide and seven high, a letter four, the point and the sign less.
A size says how many columns a dot takes and whether two dots share a row (half blocks).
"""

from __future__ import annotations

from bench.console.drawings.glyphs import GlyphSet

_DOTS = {
    "0": ("#####", "##.##", "##.##", "##.##", "##.##", "##.##", "#####"),
    "1": (".###.", "..##.", "..##.", "..##.", "..##.", "..##.", ".####"),
    "2": ("#####", "...##", "...##", "#####", "##...", "##...", "#####"),
    "3": ("#####", "...##", "...##", ".####", "...##", "...##", "#####"),
    "4": ("##.##", "##.##", "##.##", "#####", "...##", "...##", "...##"),
    "5": ("#####", "##...", "##...", "#####", "...##", "...##", "#####"),
    "6": ("#####", "##...", "##...", "#####", "##.##", "##.##", "#####"),
    "7": ("#####", "...##", "...##", "..##.", "..##.", ".##..", ".##.."),
    "8": ("#####", "##.##", "##.##", "#####", "##.##", "##.##", "#####"),
    "9": ("#####", "##.##", "##.##", "#####", "...##", "...##", "#####"),
    "C": ("####", "##..", "##..", "##..", "##..", "##..", "####"),
    "E": ("####", "##..", "##..", "###.", "##..", "##..", "####"),
    "L": ("##..", "##..", "##..", "##..", "##..", "##..", "####"),
    "O": ("####", "#..#", "#..#", "#..#", "#..#", "#..#", "####"),
    "S": ("####", "##..", "##..", "####", "..##", "..##", "####"),
    "-": ("...", "...", "...", "###", "...", "...", "..."),
    "+": ("...", "...", ".#.", "###", ".#.", "...", "..."),
    ".": ("..", "..", "..", "..", "..", "##", "##"),
    " ": (".....", ".....", ".....", ".....", ".....", ".....", "....."),
}

# name -> columns a dot, dots a row
SIZES = {"small": (1, 2), "large": (2, 1), "huge": (4, 0)}
ROWS = {"small": 4, "large": 7, "huge": 14}


def columns(text: str, size: str) -> int:
    wide = SIZES[size][0]
    return sum(len(_DOTS[c][0]) * wide + wide for c in text) - wide if text else 0


def large_text(text: str, size: str, glyphs: GlyphSet) -> list[str]:
    """Rows of block characters. ValueError for what has no figure."""
    unknown = set(text) - set(_DOTS)
    if unknown:
        raise ValueError(f"there is no figure for {''.join(sorted(unknown))!r}")
    wide = SIZES[size][0]
    rows = ["".join(_row(_DOTS[c][y], wide) for c in text) for y in range(7)]
    if size == "small":
        return [
            _halved(rows[y], rows[y + 1] if y < 6 else "." * len(rows[y]), glyphs)[:-1]
            for y in range(0, 7, 2)
        ]
    solid = [row.replace("#", glyphs.full).replace(".", " ")[:-wide] for row in rows]
    return solid if size == "large" else [row for row in solid for _ in range(2)]


def _row(dots: str, wide: int) -> str:
    return "".join(d * wide for d in dots) + "." * wide


def _halved(above: str, below: str, glyphs: GlyphSet) -> str:
    sign = {"##": glyphs.full, "#.": glyphs.upper, ".#": glyphs.lower, "..": " "}
    return "".join(sign[a + b] for a, b in zip(above, below, strict=True))
