"""Lines of the screen as runs of text, each with the role that it plays.

A role is a name that a theme turns into a style (see themes.py); what is drawn here is
plain data, so that it is tested without a terminal.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from rich.cells import cell_len, set_cell_size
from textual.content import Content

Role = Literal[
    "text",  # what is read
    "strong",  # what is read first
    "faint",  # what may be missed
    "good",  # good enough, kept, reads
    "bad",  # out, refused, away
    "unsure",  # too close to call, waits
    "caution",
    "act",  # the next act
    "number",  # the big digits
    "bad-figure",  # digits and bars that tell of something bad or unsure: solid ink,
    "unsure-figure",  # neither reversed nor underlined
    "stale",  # a number that is no longer true
    "bar",  # strip at the top
    "bar-good",
    "bar-bad",
    "bar-unsure",
    "rule",  # lines of drawings
    "wood",  # sled, fence
    "steel",  # square, blade
    "probe",  # indicator
    "trace",  # the line as it happens
    "old-trace",  # earlier passes
    "aside",  # readings set aside
]

Run = tuple[str, Role]
Line = list[Run]
Block = list[Line]


def width(line: Iterable[Run]) -> int:
    """Columns: wide characters take two, combining ones none."""
    return sum(cell_len(text) for text, _ in line)


def plain(line: Iterable[Run]) -> str:
    return "".join(text for text, _ in line)


def cut(text: str, room: int) -> str:
    """The text in at most `room` columns; what is cut off is shown by a last `>`."""
    if cell_len(text) <= room:
        return text
    return set_cell_size(text, room - 1) + ">" if room > 0 else ""


def fit(line: Sequence[Run], room: int, fill: Role = "text") -> Line:
    """Exactly `room` columns: cut, or filled with blanks."""
    out: Line = []
    left = room
    for text, role in line:
        if left <= 0:
            break
        kept = cut(text, left)
        out.append((kept, role))
        left -= cell_len(kept)
    return [*out, (" " * left, fill)] if left > 0 else out


def wrap(text: str, room: int, role: Role = "text") -> Block:
    """Words over lines of `room` columns; long words are broken."""
    words = " ".join(text.split())
    return [[(line.plain, role)] for line in Content(words).wrap(room)]


def justify(left: Line, right: Line, room: int, fill: Role = "text") -> Line:
    """One line with something at either end; the left gives way."""
    over = room - width(right)
    return [*fit(left, over, fill), *right] if over > 0 else fit(right, room, fill)
