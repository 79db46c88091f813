"""Format `line`: a byte stream cut into ASCII lines, each read by its profile.

A live port starts in mid-line: with `at_open` everything up to the first line end is
dropped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from string import ascii_letters
from typing import Any, NamedTuple

from hw.formats import FORMATS
from hw.formats.line import profiles
from hw.formats.line.bridge import CountsDecoder, bridge_reader
from hw.formats.line.plain import PlainDecoder
from hw.formats.shared.line_splitter import LineSplitter
from hw.formats.shared.options import (
    DECIMALS,
    DEFAULT_UNIT,
    RANGE,
    FormatOption,
    boolean,
    choice,
    integer,
)
from hw.formats.shared.plain_text import ascii_text
from hw.formats.shared.wire_format import (
    Candidate,
    Options,
    RecordTraits,
    WireFormat,
    maker,
)
from hw.reading import Decoder, Record

_MARKED = re.compile(rb"[<=>] *[\r\n]")


Read = Callable[[str], Record | None]


class ProfileDecoder(LineSplitter):
    """A profile that a function from text to record describes."""

    def __init__(self, read: Read, **options: Any) -> None:
        super().__init__(**options)
        self._read_text = read

    def _read(self, line: bytes) -> Record | None:
        return self._read_text(ascii_text(line, self._parity is not None))


def _text_profile(reader: Callable[[Options], Read]) -> Callable[[Options], Decoder]:
    """Makes the decoder whose function the options make."""
    names = ("range_mm", "at_open", "parity7")
    return lambda options: ProfileDecoder(
        reader(options), **{name: options[name] for name in names}
    )


class Profile(NamedTuple):
    """One shape of lines. no_point: some that speak it send no decimal point. marks:
    they may send a tolerance mark.

    bits: the word of a gauge may come as the bits of a clocked format.
    """

    make: Callable[[Options], Decoder]
    traits: RecordTraits = RecordTraits()
    no_point: bool = False
    marks: bool = False
    bits: bool = False


PROFILES = {
    "plain": Profile(maker(PlainDecoder), no_point=True, marks=True),
    "code_channel_item": Profile(_text_profile(profiles.reader), no_point=True),
    "mux": Profile(_text_profile(profiles.reader)),
    "mode_letter": Profile(_text_profile(profiles.reader)),
    "bridge_counts": Profile(
        maker(CountsDecoder),
        RecordTraits(
            counts="position",
            gauge=False,
            needs={"axis": 'the letter in front of its counts would do, such as "X"'},
        ),
    ),
    "bridge": Profile(
        _text_profile(bridge_reader),
        RecordTraits(counts="position", undetected_errors=False, device_clock=True),
        bits=True,
    ),
}


def make(options: Options) -> Decoder:
    """The decoder for a full set of options (hw.formats.read_options)."""
    return PROFILES[options["profile"]].make(options)


def _bit_formats() -> list[str]:
    """The formats whose bits a bridge may carry; their lengths tell them apart."""
    return [name for name, known in FORMATS.items() if known.frame_bits]


def _gauge_option(given: object) -> object:
    return given if given == "decimal" else choice("decimal", *_bit_formats())(given)


# why an option is proposed
EVIDENCE = {
    "decimals": "no decimal point is sent: how many decimals it means is yours to say",
    "judged": "its own tolerance mark stands last in a line: judged reads it",
    "gauge": "the gauge's word is the bits of {gauge}, four a hexadecimal digit",
}


def candidates(data: bytes) -> Iterator[Candidate]:
    """Each profile, and the options that its instruments leave open."""
    judged = bool(_MARKED.search(bytes(byte & 0x7F for byte in data)))
    for name, profile in PROFILES.items():
        for decimals in (None, 3) if profile.no_point else (None,):
            for gauge in (None, *_bit_formats()) if profile.bits else (None,):
                marks = (judged and profile.marks) or None
                open_ones = {"decimals": decimals, "judged": marks, "gauge": gauge}
                given = {key: v for key, v in open_ones.items() if v is not None}
                evidence = tuple(EVIDENCE[key].format(gauge=gauge) for key in given)
                # a board sends ten lines with the scale's count alone before one has a
                # gauge's word, which shows the kind of gauge
                complete = not profile.bits or gauge is not None
                yield Candidate({"profile": name, **given}, evidence, complete)


FORMAT = WireFormat(
    name="line",
    words="ASCII lines over RS-232 or USB-serial",
    make=make,
    options=(
        FormatOption(
            "profile",
            "plain",
            "shape of a line: " + ", ".join(PROFILES),
            choice(*PROFILES),
        ),
        DEFAULT_UNIT,
        DECIMALS,
        RANGE,
        FormatOption(
            "parity7",
            None,
            "bit 7 of each byte is parity: checked and stripped",
            choice("even", "odd"),
        ),
        FormatOption(
            "judged",
            False,
            "plain: its tolerance mark, < = or >, may stand last",
            boolean,
        ),
        FormatOption(
            "at_open", False, "drop everything up to the first line end", boolean
        ),
        FormatOption("channel", None, "mux: give only this channel", integer(1, 4)),
        FormatOption(
            "axis", None, "bridge_counts: give only this axis", choice(*ascii_letters)
        ),
        FormatOption(
            "gauge",
            "decimal",
            "bridge: how the gauge word is written, as a number or as the bits of a"
            " clocked format",
            _gauge_option,
        ),
    ),
    profiles={name: profile.traits for name, profile in PROFILES.items()},
    # the meaning of the error digits is from manuals' pages; the advice is common
    # practice, no source
    statuses={
        "no_reading": (
            "its display shows no reading",
            "see its display; switch it off and on",
        ),
        "sensor_error": (
            "moved too fast, past its end, or dirty",
            "move it slowly, see its display, switch it off and on",
        ),
        "out_of_range": ("past the end of its range", "move it back into its range"),
        "bad_command": (
            "it does not know what it is asked",
            "see its manual for the request, and write request",
        ),
        "parity_error": (
            "what it is asked comes to it with a wrong parity",
            "see its manual for parity and bits, and write parity, bits",
        ),
        "gauge_error": (
            "the box gets no answer from that gauge",
            "is the gauge plugged into the box and on; is channel the right one?",
        ),
    },
    candidates=candidates,
)
