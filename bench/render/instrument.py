"""What an instrument does, in words that name the instrument and not its port."""

from __future__ import annotations


def instrument_words(name: str, port: str, words: str) -> str:
    """`The indicator's cable is not there: ...` of `/dev/... is not there: ...`: the
    path of a device says nothing at the saw."""
    if port and words.startswith(port):
        return f"The {name}'s cable{words.removeprefix(port)}"
    return words
