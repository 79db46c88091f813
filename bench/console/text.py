"""Lines of the screen as runs of text, each with the role that it plays.

A role is a name that a theme turns into a style (see themes.py); what is drawn here is
plain data, so that it is tested without a terminal.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from typing import Literal

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


def cells(text: str) -> int:
    """How many columns a text takes: wide characters two, combining ones none."""
    if text.isascii():
        return len(text)
    return sum(
        (
            0
            if unicodedata.combining(c)
            else 2
            if unicodedata.east_asian_width(c) in "WF"
            else 1
        )
        for c in text
    )


def width(line: Iterable[Run]) -> int:
    return sum(cells(text) for text, _ in line)


def plain(line: Iterable[Run]) -> str:
    return "".join(text for text, _ in line)


def cut(text: str, room: int) -> str:
    """The text in at most `room` columns; what is cut off is shown by a last `>`."""
    if cells(text) <= room:
        return text
    out, used = "", 0
    for char in text:
        used += cells(char)
        if used > room - 1:
            break
        out += char
    return out + ">" if room > 0 else ""


def fit(line: Sequence[Run], room: int, fill: Role = "text") -> Line:
    """Exactly `room` columns: cut, or filled with blanks."""
    out: Line = []
    left = room
    for text, role in line:
        if left <= 0:
            break
        kept = cut(text, left)
        out.append((kept, role))
        left -= cells(kept)
    if left > 0:
        out.append((" " * left, fill))
    return out


def wrap(text: str, room: int, role: Role = "text", *, indent: int = 0) -> Block:
    """Words over lines of `room` columns; later lines start `indent` further in. Long
    words are broken."""
    out: Block = []
    line = ""
    for whole in text.split():
        word = whole
        while True:
            space = room - (indent if out else 0)
            trial = f"{line} {word}" if line else word
            if cells(trial) <= space:
                line = trial
                break
            if line:
                out.append([(" " * (indent if out else 0) + line, role)])
                line = ""
            elif len(word) > 1 and space > 1:
                keep = _fitting(word, space - 1)
                out.append([(" " * (indent if out else 0) + word[:keep] + "-", role)])
                word = word[keep:]
            else:
                line = word
                break
    if line or not out:
        out.append([(" " * (indent if out else 0) + line, role)])
    return out


def _fitting(word: str, room: int) -> int:
    """How many signs of a word go into so many columns; one at the least."""
    used = 0
    for n, char in enumerate(word):
        used += cells(char)
        if used > room:
            return max(1, n)
    return len(word)


def justify(left: Line, right: Line, room: int, fill: Role = "text") -> Line:
    """One line with something at either end; the left gives way."""
    over = room - width(right)
    if over <= 0:
        return fit(right, room, fill)
    return [*fit(left, over, fill), *right]
