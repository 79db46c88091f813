"""No device path is shown at the saw."""

from __future__ import annotations

from bench.render.instrument import instrument_words

PORT = "/dev/serial/by-id/usb-gauge-if00-port0"


def test_the_instrument_is_named_and_not_its_port() -> None:
    said = instrument_words("indicator", PORT, f"{PORT} went away (the cable was pulled).")
    assert said == "The indicator's cable went away (the cable was pulled)."


def test_words_that_name_it_stay() -> None:
    words = "The indicator has sent nothing for 2 s: is it on?"
    assert instrument_words("indicator", PORT, words) == words
    assert instrument_words("indicator", "", words) == words
