"""What is said to the person: whole sentences. Pure; may import: msgspec."""

from __future__ import annotations

import msgspec


class Sentence(msgspec.Struct, frozen=True):
    about: str
    words: str
    bad: bool = False


def whole(text: str) -> str:
    """With a capital and a stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
