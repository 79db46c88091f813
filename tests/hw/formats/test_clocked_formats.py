"""The clocked formats, bit by bit, against published examples."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import make_decoder
from hw.formats.bcd28 import Bcd28
from hw.formats.sync24 import Sync24
from hw.formats.sync48 import Sync48
from hw.formats.sync52 import Sync52
from hw.reading import Record

steady = settings(max_examples=2 * settings().max_examples)


def one(name: str, text: str, **options: object) -> Record:
    decoder = make_decoder(name, options)
    (record,) = decoder.feed(text.encode() + b"\n") + decoder.finish()
    assert decoder.rejects == (record.fault is not None)
    return record


def nibbles(word: str) -> str:
    """d1 to d13 as hexadecimal digits -> bits, each nibble least significant first."""
    return "".join(f"{int(digit, 16):04b}"[::-1] for digit in word.replace(" ", ""))


def word(number: int, size: int = 24) -> str:
    """A word sent least significant bit first."""
    return "".join(str(number >> place & 1) for place in range(size))


@pytest.mark.parametrize(
    ("bits", "value", "unit", "flags"),
    [
        # published example in a projector's manual
        ("1111 1111 1111 1111 0001 0000 1000 0100 1100 0010 1010 1100 0000", -12.345, "mm", ()),
        # published example in a laser gauge's manual
        ("1111 1111 1111 1111 0000 0100 1000 0000 1110 0110 1010 0010 0000", 21.0765, "mm", ()),
        # the eight-digit variant of a height gauge's manual
        ("0001 1111 0000 0000 0000 0000 0000 0000 1000 0100 1100 1100 0000", 0.123, "mm", ("eight_digit",)),
        (nibbles("FFFF 0 000125 4 1"), 0.0125 * 25.4, "inch", ()),
        (nibbles("FFF7 0 123456 3 0"), 7123.456, "mm", ("seven_digit",)),  # a bench gauge's manual
        (nibbles("8F12 8 345678 5 0"), -123.45678, "mm", ("eight_digit",)),
        # judgement, as printed in a laser gauge's manual
        (nibbles("FFFF 0 000100 2 2"), 1.0, "mm", ("judge_over",)),
        (nibbles("FFFF 0 000100 2 3"), 1.0, "mm", ("judge_go",)),
        (nibbles("FFFF 0 000100 2 4"), 1.0, "mm", ("judge_under",)),
        (nibbles("FFFF 0 000100 2 5"), 25.4, "inch", ("judge_over",)),
        (nibbles("FFFF 0 000100 2 6"), 25.4, "inch", ("judge_go",)),
        (nibbles("FFFF 0 000100 2 7"), 25.4, "inch", ("judge_under",)),
        (nibbles("FFFF 8 000000 3 0"), 0.0, "mm", ()),
    ],
)
def test_sync52(bits: str, value: float, unit: str, flags: tuple[str, ...]) -> None:
    record = one("sync52", bits)
    assert record.fault is None
    assert record.value == pytest.approx(value, rel=1e-15) and str(record.value) != "-0.0"
    assert (record.unit, record.flags) == (unit, flags)
    assert record.raw == bits.replace(" ", "").encode()


@pytest.mark.parametrize(
    ("bits", "words"),
    [
        (nibbles("FFFF 0 00012A 3 0"), "A is no decimal digit"),  # published as to be refused
        ("1" * 52, "sign"),
        ("0" * 52, "d1 to d4"),
        (nibbles("FFFA 0 000123 3 0"), "d1 to d4"),
        (nibbles("8FA0 0 000123 3 0"), "d1 to d4"),
        (nibbles("0001 0 000123 3 0"), "d1 to d4"),  # older devices put an entry number there
        (nibbles("FFFF 1 000123 3 0"), "sign"),
        (nibbles("FFFF 0 000123 6 0"), "decimals"),
        (nibbles("FFFF 0 000123 3 8"), "unit"),
        (nibbles("FFFF 0 000123 3 0")[:-1], "51 bits"),
        (nibbles("FFFF 0 000123 3 0") + "0", "53 bits"),
        ("2" * 52, "no bit"),
    ],
)
def test_sync52_refused(bits: str, words: str) -> None:
    record = one("sync52", bits)
    assert record.value is None and record.fault is not None and words in record.fault


@pytest.mark.parametrize(
    ("bits", "value", "unit"),
    [
        ("0100 1011 0010 0000 0000 0000", 12.34, "mm"),  # 0x0004D2, public indicator notes
        ("1100 0110 0000 0000 0000 1000", -0.99, "mm"),  # 0x100063, a published trace
        ("0111 0010 0000 0000 0000 1001", -0.0390 * 25.4, "inch"),  # 0x90004E, likewise
        (word(0x8009C4), 1.25 * 25.4, "inch"),
        (word(0x0FFFFF), 10485.75, "mm"),
        (word(0x100000), 0.0, "mm"),
        (word(0), 0.0, "mm"),
    ],
)
def test_sync24(bits: str, value: float, unit: str) -> None:
    record = one("sync24", bits)
    assert record.value == pytest.approx(value, rel=1e-15) and str(record.value) != "-0.0"
    assert record.unit == unit


@pytest.mark.parametrize(
    "bits", [word(0x2004D2), word(0x4004D2), "1" * 24, word(0x4D2)[:23], word(0x4D2) + "0"]
)
def test_sync24_refused(bits: str) -> None:
    assert one("sync24", bits).fault is not None


@pytest.mark.parametrize(
    ("bits", "counts_abs", "counts", "value"),
    [
        # 0x001F7F, 0xFFE081, from protocol pages: 8063 counts of 1/20480 inch
        ("1111 1110 1111 1000 0000 0000 1000 0001 0000 0111 1111 1111", 8063, 8063, 10.000010),
        ("0010 0011 1001 0000 0000 0000 0000 0000 0010 0000 0000 0000", 2500, -1024, -1.27),
        (word(0xFFB000) * 2, -20480, 20480, 25.4),
        ("0" * 48, 0, 0, 0.0),
    ],
)
def test_sync48(bits: str, counts_abs: int, counts: int, value: float) -> None:
    record = one("sync48", bits)
    assert (record.counts_abs, record.counts, record.unit) == (counts_abs, counts, "mm")
    assert record.value == pytest.approx(value, abs=5e-7)
    assert record.value == float(Fraction(counts) * Fraction(254, 204800))


def test_sync48_refused_and_its_options() -> None:
    frame = word(2500) + word(1024)
    assert one("sync48", "1" * 48).fault is not None
    assert one("sync48", frame[:-1]).fault == "47 bits, not 48"
    assert one("sync48", frame, sign="plain").counts == 1024
    assert one("sync48", frame, sign="inverted").counts == ~1024
    swapped = one("sync48", frame, order="display_first")
    assert (swapped.counts_abs, swapped.counts) == (1024, -2500)


@pytest.mark.parametrize(
    ("bits", "value", "unit"),
    [
        ("1000 0000 0001 1001 0000 0000 0100", 9.8015 * 25.4, "inch"),  # nibbles of a published article
        ("0010 1100 0100 1000 0000 0000 0010", 12.34, "mm"),
        ("0000 1010 0000 0000 0000 0000 1010", -0.50, "mm"),
        ("0000 0000 0000 0000 0000 0000 1000", 0.0, "inch"),
    ],
)
def test_bcd28(bits: str, value: float, unit: str) -> None:
    record = one("bcd28", bits)
    assert record.value == pytest.approx(value, rel=1e-15) and str(record.value) != "-0.0"
    assert record.unit == unit


@pytest.mark.parametrize(
    ("bits", "words"),
    [
        (nibbles("A000000"), "no decimal digit"),
        (nibbles("00000F0"), "no decimal digit"),
        (nibbles("1000006"), "half"),  # half a thousandth of an inch, in mm
        (nibbles("1000008"), "bit 3"),
        ("0" * 27, "27 bits"),
    ],
)
def test_bcd28_refused(bits: str, words: str) -> None:
    record = one("bcd28", bits)
    assert record.fault is not None and words in record.fault


FRAMES = {
    "sync52": nibbles("FFFF 8 012345 3 0"),
    "sync24": word(0x1004D2),
    "sync48": word(2500) + word(1024),
    "bcd28": nibbles("4321005"),
}


@pytest.mark.parametrize("name", FRAMES)
def test_invert_range_and_last_line(name: str) -> None:
    frame = FRAMES[name]
    straight = one(name, frame)
    other = frame.translate(str.maketrans("01", "10"))
    inverted = one(name, other, invert="true")
    assert inverted.value == straight.value and inverted.raw == other.encode()
    assert straight.value is not None and straight.value < 0
    fault = one(name, frame, range_mm="0,100").fault
    assert fault is not None and "outside range_mm" in fault
    # the last frame needs no line end; blank lines are nothing
    decoder = make_decoder(name)
    assert decoder.feed(b"\n  \n" + frame.encode()) == []
    (last,) = decoder.finish()
    assert last.value == straight.value


@pytest.mark.parametrize("decoder", [Sync52(), Sync24(), Sync48(), Bcd28()])
def test_a_frame_as_the_pin_reader_sends_it(decoder: Sync52 | Sync24 | Sync48 | Bcd28) -> None:
    frame = FRAMES[type(decoder).__name__.lower()]
    (record,) = decoder.feed(frame.encode() + b"\n")
    assert record.fault is None and record.value is not None and record.raw == frame.encode()
    for wrong in ("01", frame + "0", "x" * len(frame), "é" * len(frame)):
        (record,) = decoder.feed(wrong.encode() + b"\n")
        assert record.fault is not None
    assert decoder.rejects == 4


@steady
@given(st.sampled_from(sorted(FRAMES)), st.integers(0, 51), st.integers(0, 51))
def test_a_cut_frame_is_never_read(name: str, start: int, end: int) -> None:
    frame = FRAMES[name]
    piece = frame[start:end]
    if piece != frame and piece:
        assert one(name, piece).value is None


@steady
@given(st.integers(-(2**20) + 1, 2**20 - 1), st.booleans())
def test_sync24_rounds_once(counts: int, inch: bool) -> None:
    frame = word(abs(counts), 20) + str(int(counts < 0)) + "00" + str(int(inch))
    exact = Fraction(counts, 2000) * Fraction(254, 10) if inch else Fraction(counts, 100)
    assert one("sync24", frame).value == float(exact)
