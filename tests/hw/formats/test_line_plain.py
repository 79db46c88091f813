"""Profile `plain` of the ASCII lines, rule by rule."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import make_decoder
from hw.formats.line.plain import PlainDecoder
from hw.formats.shared.plain_text import Fault, ascii_text, read_plain
from hw.reading import FormatError, Record

steady = settings(max_examples=2 * settings().max_examples)


def decode(data: bytes, **options: object) -> list[Record]:
    decoder = make_decoder("line", options)
    return decoder.feed(data) + decoder.finish()


def one(data: bytes, **options: object) -> Record:
    (record,) = decode(data, **options)
    return record


@pytest.mark.parametrize(
    ("line", "value", "unit", "flags"),
    [
        (b"+ 2.1380, MM\r\n", 2.138, "mm", ()),  # published example in an instrument manual
        (b"+0012.345\r", 12.345, "mm", ("default_unit",)),  # shape from a gauge interface's page
        (b"-0001.230 mm\r\n", -1.23, "mm", ()),
        (b".0005 in\n", 0.0127, "inch", ()),  # the leading digit may be missing
        (b"-0.000 mm\n", 0.0, "mm", ()),
        (b"1.5,mm\n", 1.5, "mm", ()),  # a comma parts fields, with or without blanks
        (b"1.5 , mm\n", 1.5, "mm", ()),
        (b"-0,125 mm\n", -0.125, "mm", ()),  # a decimal comma
        (b"1,5, IN\n", 38.1, "inch", ()),  # a decimal comma, then a field comma
        (b'+1.5"\n', 38.1, "inch", ()),
        (b"1.5 inch\n", 38.1, "inch", ()),
    ],
)
def test_values(line: bytes, value: float, unit: str, flags: tuple[str, ...]) -> None:
    for _ in range(2):
        record = one(line)
        assert (record.value, record.unit, record.flags, record.fault) == (value, unit, flags, None)
        assert str(record.value) != "-0.0"
        assert record.raw == line.rstrip(b"\r\n")


@pytest.mark.parametrize(
    ("line", "status"),
    [
        (b"ERR0\r", "sensor_error"),  # error words of a gauge manual
        (b"ERR1\r", "bad_command"),
        (b"ERR2\r", "parity_error"),
        (b"ERR3\r", "out_of_range"),
        (b"---\r\n", "no_reading"),
        (b"--------\r\n", "no_reading"),
    ],
)
def test_status_words(line: bytes, status: str) -> None:
    record = one(line)
    assert (record.value, record.status, record.fault) == (None, status, None)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"+12.34.5 mm\n", "second decimal point"),  # published example of what must be refused
        (b"1,2,3 mm\n", "second decimal comma"),
        (b"5. mm\n", "no digit after"),
        (b"12 mm\n", "without a decimal point"),
        (b"12,345.6 mm\n", "both a comma and a point"),
        (b"1.5 kg\n", "left over"),
        (b"1.5 Mm\n", "left over"),
        (b"1.5 M\n", "left over"),  # M and I are units of another profile
        (b"1.5 mm mm\n", "left over"),
        (b"1.5 mm 2.5 mm\n", "left over"),
        (b"1.5 mm >\n", "left over"),  # a tolerance mark is of another mode
        (b"1.5,\n", "left over"),
        (b"x1.5\n", "no number"),
        (b"+-1.5\n", "no number"),
        (b"1 .5\n", "without a decimal point"),
        (b"mm\n", "no number"),
        (b"+\n", "no number"),
        (b"--\n", "no number"),
        (b"   \n", "blanks"),
        (b"ERR7\n", "unknown error word"),
        (b"ERR\n", "no number"),
        (b"1.5\x00\n", "control byte"),
        (b"1.5\tmm\n", "control byte"),
        (b"1.5\x7f\n", "control byte"),
        (b"1.5\xb5\n", "0xb5"),
        (b"1_0.5\n", "without a decimal point"),
        (b"1e5\n", "without a decimal point"),
        (b"1.5e1\n", "left over"),
        (b"nan\n", "no number"),
        (b"XX,12.1\n", "no number"),  # an identity line sent unasked at power-on
        (b"R\r", "no number"),  # a command echoed
        (b"1.5 mm", "cut off"),
    ],
)
def test_refused(line: bytes, words: str) -> None:
    record = one(line)
    assert record.value is None and record.status is None
    assert record.fault is not None and words in record.fault
    assert record.raw == line.rstrip(b"\r\n")


@pytest.mark.parametrize(
    ("line", "value", "unit", "flags"),
    [
        (b"+1.250>\r", 1.25, "mm", ("default_unit", "judge_over")),
        (b"-0.005 mm<\r\n", -0.005, "mm", ("judge_under",)),
        (b"0.1000 in =\n", 2.54, "inch", ("judge_go",)),
        (b"0.1000 in = \n", 2.54, "inch", ("judge_go",)),
        (b"+1.250\r", 1.25, "mm", ("default_unit",)),  # its tolerances are switched off
    ],
)
def test_a_tolerance_mark_stands_last(line: bytes, value: float, unit: str, flags: tuple[str, ...]) -> None:
    """Manuals of plunger indicators: with limits set, the value is followed by <, = or >. That below, within and
    above are meant in this order is taken from how the signs read."""
    record = one(line, judged=True)
    assert (record.value, record.unit, record.flags, record.fault) == (
        pytest.approx(value),
        unit,
        flags,
        None,
    )
    again = decode(line + line, judged=True)  # by the hot path
    assert [r.flags for r in again] == [flags, flags]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"+1.250>\n", "'>' is left over after the number: a tolerance mark, which judged=true reads"),
        (b"+1.250 mm =\n", "'=' is left over after the number: a tolerance mark"),
        (b"+1.250 mm ? \n", "left over"),
        (b">\n", "no number"),
    ],
)
def test_a_tolerance_mark_that_nobody_told_of(line: bytes, words: str) -> None:
    assert words in (one(line).fault or "")


@pytest.mark.parametrize("line", [b"+1.250>>\n", b"+1.250 mm> mm\n", b">+1.250\n", b"=\n", b"ERR0>\n"])
def test_more_than_one_mark_or_elsewhere_is_refused(line: bytes) -> None:
    record = one(line, judged=True)
    assert record.value is None
    assert record.fault


def test_line_ends_and_empty_lines() -> None:
    assert [r.value for r in decode(b"\r\n1.0\r2.0\n\n\r3.0\r\n\r\n")] == [1.0, 2.0, 3.0]


def test_cr_and_lf_in_two_reads() -> None:
    decoder = make_decoder("line")
    first = decoder.feed(b"1.0\r")
    assert [(r.value, r.behind) for r in first] == [(1.0, 0)]
    assert [(r.value, r.behind) for r in decoder.feed(b"\n2.0\r\n3.")] == [(2.0, 3)]


def test_sixty_four_bytes() -> None:
    longest = b" " * 61 + b"1.5"
    assert one(longest + b"\r").value == 1.5
    records = decode(b" " + longest + b"\r2.5\r")
    assert [r.value for r in records] == [None, 2.5]
    assert "64 bytes" in str(records[0].fault) and len(records[0].raw) == 64
    records = decode(b"1.5 mm " * 400 + b"\r2.5\r")
    assert [r.value for r in records] == [None, 2.5]


def test_unfinished_number_is_not_joined_after_silence() -> None:
    decoder = make_decoder("line")
    assert decoder.feed(b"1.0\r-1") and decoder.finish()[0].fault
    assert [r.value for r in decoder.feed(b"2.3\r4.0\r")] == [4.0]
    assert decoder.rejects == 1 and decoder.finish() == []


def test_at_open_drops_to_the_first_end() -> None:
    assert [r.value for r in decode(b"2.345 mm\r\n1.0\r", at_open="true")] == [1.0]
    assert decode(b"2.345 mm", at_open=True) == []
    assert [r.value for r in decode(b"\xff" * 64 + b"\r1.0\r", at_open=True)] == [1.0]
    # a port that never shows an end must not look silent
    records = decode(b"\xff" * 500 + b"\r1.0\r", at_open=True)
    assert [r.value for r in records] == [None, 1.0] and "without a line end" in str(records[0].fault)


def test_options() -> None:
    assert one(b"+0012345\r", decimals="3").value == 12.345
    assert one(b"+0012345, mm\r", decimals=3).value == 12.345
    assert one(b"+00500 in\r", decimals=3).value == 12.7
    assert one(b"1.5\r", default_unit="in").value == 38.1
    assert one(b"1.5\r", default_unit="in").flags == ("default_unit",)
    assert one(b"5.001\r", range_mm="-1,5").fault == "5.001 mm is outside range_mm -1 to 5"
    assert one(b"5.001\r", range_mm="-1e300,5").fault == "5.001 mm is outside range_mm -1e+300 to 5"
    decoder = make_decoder("line", {"range_mm": [-1, 5.0]})
    records = decoder.feed(b"5.0\r5.1\r5.2\r-1.0\r0.2 in\rERR0\r")
    assert [r.value for r in records] == [5.0, None, None, -1.0, None, None]
    assert decoder.rejects == 3


def even(text: bytes) -> bytes:
    return bytes(byte | 0x80 if byte.bit_count() % 2 else byte for byte in text)


def test_parity() -> None:
    line = even(b"+0012.345\r\n")
    assert b"\r" not in line  # CR becomes 0x8d, LF stays
    assert one(line, parity7="even").value == 12.345
    assert one(line, parity7="even").raw == line[:-2]
    assert one(line).fault is not None
    bad = bytes([line[0] ^ 0x80]) + line[1:]
    record = one(bad + line[:0], parity7="even")
    assert record.fault == "wrong parity in byte 1" and record.raw == bad[:-2]
    # a damaged byte that looks like an end is no end: its line stays one line, and is refused
    record = one(even(b"-1") + b"\x0d" + even(b"2.5\r"), parity7="even")
    assert record.fault is not None
    other = bytes(byte ^ 0x80 for byte in line)
    assert one(other, parity7="odd").value == 12.345


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"unit": "mm"}, "no option 'unit'"),
        ({"profile": "plane"}, "one of plain"),
        ({"decimals": "x"}, "a whole number from 0 to 9"),
        ({"decimals": True}, "a whole number"),
        ({"range_mm": "5"}, "LO,HI"),
        ({"range_mm": "5,-5"}, "the lower first"),
        ({"range_mm": [1, "nan"]}, "LO,HI"),
        ({"at_open": "yes"}, "true or false"),
        ({"parity7": "none"}, "even, odd"),
        ({"default_unit": "thou"}, "mm, inch"),
    ],
)
def test_wrong_options(options: dict[str, object], words: str) -> None:
    with pytest.raises(FormatError, match=words):
        make_decoder("line", options)


def test_unknown_format() -> None:
    with pytest.raises(FormatError, match=r"'lines'.*line"):
        make_decoder("lines")


def strictly(line: bytes) -> tuple[float | None, str, tuple[str, ...], str | None, str | None]:
    """The line by the strict reader alone."""
    try:
        record, _ = read_plain(ascii_text(line), None, "mm")
    except Fault as fault:
        return None, "mm", (), None, str(fault)
    return record.value, record.unit, record.flags, record.status, record.fault


def told(record: Record) -> tuple[float | None, str, tuple[str, ...], str | None, str | None]:
    return record.value, record.unit, record.flags, record.status, record.fault


LINES = st.from_regex(
    rb"[+-]?[ ]{0,3}[0-9]{0,4}[.,]?[0-9]{0,4}(?:[ ,]{0,2}(?:mm|MM|in|IN|inch|\"|x))?[ ]?", fullmatch=True
) | st.binary(max_size=20).map(lambda b: b.replace(b"\r", b"").replace(b"\n", b""))


@steady
@given(st.lists(LINES.filter(len), min_size=1, max_size=12))
def test_hot_path_says_what_the_strict_reader_says(lines: list[bytes]) -> None:
    decoder = make_decoder("line")
    wanted = [strictly(line) for line in lines]
    for _ in range(2):  # the second time the shapes are known
        assert [told(r) for r in decoder.feed(b"".join(line + b"\r\n" for line in lines))] == wanted


@steady
@given(
    st.integers(-(10**7), 10**7),
    st.integers(1, 5),
    st.sampled_from(["mm", "in"]),
    st.sampled_from(["", " ", ", "]),
)
def test_conversion_is_correctly_rounded(counts: int, decimals: int, unit: str, gap: str) -> None:
    sign, digits = "-" if counts < 0 else "+", f"{abs(counts):0{decimals + 1}d}"
    line = f"{sign}{digits[:-decimals]}.{digits[-decimals:]}{gap}{unit}\r".encode()
    exact = Fraction(counts, 10**decimals) * (Fraction(254, 10) if unit == "in" else 1)
    # float(Fraction) rounds the exact quotient once, by another road than ours
    for record in decode(line * 2):
        assert record.value == float(exact)


def test_shapes_are_bounded() -> None:
    decoder = PlainDecoder()
    for before in range(12):
        for after in range(1, 12):
            decoder.feed(b"1" * before + b"." + b"1" * after + b"\r")
    assert len(decoder._shapes) <= 64
