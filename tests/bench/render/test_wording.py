"""No device path is shown at the saw."""

from __future__ import annotations

from bench.render.wording import without_port

PORT = "/dev/serial/by-id/usb-gauge-if00-port0"


def test_the_instrument_is_named_and_not_its_port() -> None:
    said = without_port("indicator", PORT, f"{PORT} went away (the cable was pulled).")
    assert said == "The indicator's port went away (the cable was pulled)."


def test_words_that_name_it_stay() -> None:
    words = "The indicator has sent nothing for 2 s: is it on?"
    assert without_port("indicator", PORT, words) == words
    assert without_port("indicator", "", words) == words
    assert without_port("indicator", PORT, f"{words} ({PORT})") == words
