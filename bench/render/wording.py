"""Whole sentences of instruments and moves, fitted to the place where they stand."""

from __future__ import annotations


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


def ended(words: str) -> str:
    """The sentence with a full stop, where it has no end of its own."""
    return words if words.endswith((".", "?", "!")) else f"{words}."
