"""Every sentence that can be said is short, and none is in the words of the workshop's makers only."""

from __future__ import annotations

import re
from functools import cache

import sentences
import words_in_source


@cache
def all_sentences() -> list[sentences.Sentence]:
    """Made when the first test asks, as it takes half a second, which no worker has to spend on collecting."""
    return sentences.table()


# riddles met by a stranger, and words that have a better one; `design` of the screen: one thing, one name
FORBIDDEN = {
    "closure": "did not come back",
    "between sweeps": "passes differ",
    "minimum zone": "out of straight",
    "yaw play": "twist in the slots",
    "yaw": "twist",
    "bodily": "the whole sled",
    "set aside": "left out",
    "over the span used": "over this travel",
    "in the budget": "already counted",
    "back at the start": "returned to the start",
    "believe nobody": "check it",
    "seated anew": "lift and seat again",
    "sweep": "pass",
    "sweeps": "passes",
    "pushes": "passes",
    "draw back": "way back",
    "lost motion": "backlash",
    "identifier": "name",
}
# `h pushes` is what a key does; what stands in the settings keeps its name there
ALLOWED = {"h pushes", "leaf pushes", "hand that pushes", "the column sweep"}


def test_a_sentence_has_twelve_words_at_the_most() -> None:
    long = [one for one in all_sentences() if one.words > sentences.MOST_WORDS]
    assert not long, "\n".join(f"{one.source} {one.code} ({one.words}): {one.text}" for one in long)


def test_no_riddles() -> None:
    riddle = re.compile(rf"\b({'|'.join(FORBIDDEN)})\b", re.IGNORECASE)
    found = [
        (f"say {FORBIDDEN[word.lower()]!r}", one)
        for one in all_sentences()
        if not any(allowed in one.text for allowed in ALLOWED)
        for word in riddle.findall(one.text)
    ]
    assert not found, found


def test_the_screen_makes_no_sentence_of_values() -> None:
    """They are made once, in bench.render, for the screen and the commands alike."""
    assert not list(words_in_source.built_sentences("console"))


def test_directions_are_whole() -> None:
    """`toward you`, `away from you`, or from whatever it is; a cable may go away."""
    bare = [
        one
        for one in all_sentences()
        if re.search(r"\b(toward|away)\b", _without_names(one.text), re.IGNORECASE)
    ]
    assert not bare, bare


def _without_names(text: str) -> str:
    text = re.sub(r"\b((toward|away from) (you|the \w+)|(went|goes|go|take play|touched) away)", "", text)
    return re.sub(r'grows = "(away|toward)"|Did you push it away', "", text)


def test_no_internals() -> None:
    """The doctor and the command line may name what they are asked about."""
    for one in all_sentences():
        asked = one.source in ("doctor", "command") or one.code.startswith("render/settings")
        names = "" if asked else r"/dev/|handle-(left|right)|"
        assert not re.search(names + r"\w+\(\w+=|\bNone\b(?! is)|\b0x", one.text), one
        assert not re.search(r"\d\.\d{4,}", one.text), one


def test_values_are_told_in_the_users_units() -> None:
    """A length that a template fixes in mm says nothing to who works in inches; those left are known."""
    fixed = {one.code for one in all_sentences() if re.search(r"\d mm\b", one.text)}
    assert fixed <= FIXED_MM, fixed - FIXED_MM


FIXED_MM = {
    "steep",  # a change in mm for every mm is a pure number
    "thin",
    "of-inches",
    "mixed",  # caliper widths that were perhaps in inches
    "setup-press",
    "setup-push",
    "fence-square handle-left again",
    "test-board near",
    "slot-blade end_float",
    "slot-blade carriage_float",
    "side-play place_error",
    "test-board edge",
    "fence-straight straight",
}
