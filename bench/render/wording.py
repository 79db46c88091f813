"""Whole sentences of instruments and moves, fitted to the place where they stand."""

from __future__ import annotations

from bench.render.names import upper_first


def with_name(name: str, words: str) -> str:
    """The sentence, with the instrument's name before it where it does not say it."""
    return words if name in words.lower() else f"{name}: {words}"


def without_name(name: str, words: str) -> str:
    """The sentence as it follows `name: `."""
    return words.removeprefix(f"The {name} ")


def without_port(name: str, port: str, words: str) -> str:
    """`The indicator's port is not there: ...` for `/dev/... is not there: ...`: the
    path of a device says nothing at the saw."""
    if not port:
        return words
    words = words.removesuffix(f" ({port})")
    if words.startswith(port):
        return f"The {name}'s port{words.removeprefix(port)}"
    return words


def with_full_stop(words: str) -> str:
    """The sentence with a full stop, where it has no end of its own."""
    return words if words.endswith((".", "?", "!")) else f"{words}."


def as_sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    return with_full_stop(upper_first(text.strip()))
