"""The profiles of `line` beside `plain`."""

from __future__ import annotations

import pytest

from hw.formats import make_decoder
from hw.formats.line.bridge import checksum
from hw.reading import Record


def decode(profile: str, data: bytes, **options: object) -> list[Record]:
    decoder = make_decoder("line", {"profile": profile, **options})
    records = decoder.feed(data) + decoder.finish()
    assert decoder.rejects == sum(record.fault is not None for record in records)
    return records


def one(profile: str, data: bytes, **options: object) -> Record:
    (record,) = decode(profile, data, **options)
    return record


def test_code_channel_item() -> None:
    # published example in a height gauge's manual
    record = one("code_channel_item", b"01A+00.12345\r", default_unit="in")
    assert record.value == pytest.approx(0.12345 * 25.4, rel=1e-15)
    assert (record.unit, record.flags) == ("inch", ("default_unit",))
    assert one("code_channel_item", b"01A-0012.345\r").value == -12.345
    assert one("code_channel_item", b"01A-  12.345\r").value == -12.345
    assert one("code_channel_item", b"01A-00012345\r", decimals=3).value == -12.345
    assert one("code_channel_item", b"911\r").status == "error_911"  # shape of error codes from memory
    assert one("code_channel_item", b"-----\r").status == "no_reading"


@pytest.mark.parametrize(
    "line",
    [
        b"01A+0.12345\r",  # a byte lost
        b"01A+000.12345\r",
        b"01A00.12345\r",
        b"01A+00.12345 mm\r",
        b"1A+00.12345\r",
        b"02A+00.12345\r",
        b"01A+0012345.\r",
        b"01A+00012345\r",
        b"9112\r",
        b"92A\r",
        b"01A\r",
        b"01A+00.12345",
    ],
)
def test_code_channel_item_refused(line: bytes) -> None:
    assert one("code_channel_item", line).fault is not None


@pytest.mark.parametrize(
    ("line", "channel", "value", "unit", "status"),
    [
        # published examples in a knowledge-base page of a gauge multiplexer
        (b"1 MW+003.4665 inch\r\n", "1", 3.4665 * 25.4, "inch", None),
        (b"2 MW-00088.29 mm\r\n", "2", -88.29, "mm", None),
        (b"4 MW +00001.55 mm\r\n", "4", 1.55, "mm", None),
        (b"3 TO 999999.99 mm\r\n", "3", None, "mm", "gauge_error"),
    ],
)
def test_mux(line: bytes, channel: str, value: float | None, unit: str, status: str | None) -> None:
    record = one("mux", line)
    assert (record.channel, record.unit, record.status, record.fault) == (channel, unit, status, None)
    assert record.value == (None if value is None else pytest.approx(value, rel=1e-15))
    assert record.raw == line[:-2]


@pytest.mark.parametrize(
    "line",
    [
        b"1 MW+03.4665 inch\r\n",
        b"1 MW+0003.4665 inch\r\n",
        b"1 MW003.4665 inch\r\n",
        b"1 MW+003.4665\r\n",
        b"1 MW+003.4665inch\r\n",
        b"1 MW+003.4665 i\r\n",
        b"1 MW  +003.4665 mm\r\n",
        b"5 MW+003.4665 mm\r\n",
        b"MW+003.4665 mm\r\n",
        b"1MW+003.4665 mm\r\n",
        b"3 TO 000003.46 mm\r\n",
        b"3 TO 999999.99\r\n",
        b"3 TO\r\n",
        b"V1.02\r\n",
        b"1 MW+003.46.5 mm\r\n",
    ],
)
def test_mux_refused(line: bytes) -> None:
    assert one("mux", line).fault is not None


def test_mux_one_channel_only() -> None:
    data = b"1 MW+0003.466 mm\r\n2 MW-0000.290 mm\r\n3 TO 999999.99 mm\r\nx\r\n"
    assert [(r.channel, r.value, bool(r.fault)) for r in decode("mux", data, channel=2)] == [
        ("2", -0.29, False),
        (None, None, True),
    ]


@pytest.mark.parametrize(
    ("line", "value", "unit", "flags"),
    [
        (b"a- 0.125MU \n", -0.125, "mm", ("under",)),  # published example in an indicator's manual
        (b"A+ 0.125MO \n", 0.125, "mm", ("hold", "over")),
        (b"A+ 0.125M0 \n", 0.125, "mm", ("hold", "over")),  # printed as a nought
        (b"m+ 1.5000I  \n", 38.1, "inch", ("max",)),
        (b"M+ 1.5000I  \n", 38.1, "inch", ("hold", "max")),
        (b"L+ 0.125M  \n", 0.125, "mm", ("hold", "min")),
        (b"t+ 0,125M  \n", 0.125, "mm", ("tir",)),
        (b" -   0.125M  \n", -0.125, "mm", ()),
    ],
)
def test_mode_letter(line: bytes, value: float, unit: str, flags: tuple[str, ...]) -> None:
    record = one("mode_letter", line)
    assert record.value == pytest.approx(value, rel=1e-15)
    assert (record.unit, record.flags, record.fault) == (unit, flags, None)


@pytest.mark.parametrize(
    "line",
    [
        b"- 0.125MU \n",
        b"x- 0.125MU \n",
        b"a 0.125MU \n",
        b"a-0.125MU \n",
        b"a- 0.125mmU \n",
        b"a- 0.125U \n",
        b"a- 0.125MX \n",
        b"a- 0.125M\n",
        b"a- 0.125MU\n",
        b"a- 0.125MU  \n",
        b"a- 125MU \n",
    ],
)
def test_mode_letter_refused(line: bytes) -> None:
    assert one("mode_letter", line).fault is not None


def told(records: list[Record]) -> list[tuple[str | None, int | None, bool]]:
    return [(record.axis, record.counts, record.fault is not None) for record in records]


def test_bridge_counts() -> None:
    # published in the notes of a public bridge
    assert told(decode("bridge_counts", b"X1234;Y-5;")) == [("X", 1234, False), ("Y", -5, False)]
    assert told(decode("bridge_counts", b"X1;\r\nY+2;\n")) == [("X", 1, False), ("Y", 2, False)]
    assert told(decode("bridge_counts", b"34;X1;", at_open=True)) == [("X", 1, False)]
    assert told(decode("bridge_counts", b"X1;Y2;X3;", axis="Y")) == [("Y", 2, False)]
    # a line end inside a field, a field without its end
    assert told(decode("bridge_counts", b"X12\r\nX1;Y3")) == [
        (None, None, True),
        ("X", 1, False),
        (None, None, True),
    ]
    assert [r.behind for r in decode("bridge_counts", b"X1234;Y-5;")] == [4, 0]


@pytest.mark.parametrize(
    "field",
    [
        b"X;",
        b"1234;",
        b"X1.5;",
        b"XY1;",
        b"X 1;",
        b"X--1;",
        b";",
        b"X1_0;",
        b"X\xb21;",
        b"X" + b"9" * 20 + b";",
    ],
)
def test_bridge_counts_refused(field: bytes) -> None:
    assert told(decode("bridge_counts", field)) == [(None, None, True)]


def test_checksum() -> None:
    # a sentence printed in many texts on the open marine sentence standard
    assert checksum("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") == "47"


def sentence(body: str) -> bytes:
    return f"${body}*{checksum(body)}\r\n".encode()


def test_bridge() -> None:
    record = one("bridge", sentence("BRG,17,123456789,-20480,+0012.345mm"))
    assert (record.value, record.unit, record.counts) == (12.345, "mm", -20480)
    assert (record.sequence, record.device_us, record.flags) == (17, 123456789, ())
    data = sentence("BRG,65535,1,5,---") + sentence("BRG,0,2,6,") + sentence("BRG,2,3,7,0.5in")
    first, second, third = decode("bridge", data)
    assert (first.status, first.counts, first.value) == ("no_reading", 5, None)
    assert (second.status, second.counts, second.value, second.flags) == (None, 6, None, ())
    assert (third.value, third.unit, third.flags) == (12.7, "inch", ("gap",))


def test_bridge_docstring_has_a_true_example() -> None:
    from hw.formats.line import bridge

    (example,) = [
        line.strip() for line in str(bridge.__doc__).splitlines() if line.strip().startswith("$BRG")
    ]
    assert one("bridge", example.encode() + b"\r\n").value == 12.345


@pytest.mark.parametrize(
    ("gauge", "word", "value"),
    [
        ("sync24", "2D4000", 12.34),  # 0x0004D2, first bits first
        ("sync52", "FFFF801234530", -12.345),
        ("sync48", "F7F100180EFF", 8063 * 25.4 / 20480),  # 0x001F7F, 0xFFE081
        ("bcd28", "4321004", 12.34),
    ],
)
def test_bridge_with_the_bits_of_a_clocked_gauge(gauge: str, word: str, value: float) -> None:
    record = one("bridge", sentence(f"BRG,1,2,3,{word}"), gauge=gauge)
    assert record.value == pytest.approx(value, rel=1e-15) and record.counts == 3
    assert one("bridge", sentence(f"BRG,1,2,3,{word}0"), gauge=gauge).fault is not None
    assert one("bridge", sentence("BRG,1,2,3,xyz"), gauge=gauge).fault is not None


@pytest.mark.parametrize(
    "line",
    [
        sentence("BRG,17,1,2,+1.5mm").replace(b"17", b"71").replace(b"+1.5", b"+1.4"),
        b"$BRG,17,1,2,+1.5mm\r\n",
        sentence("BRG,17,1,2,+1.5mm").lower(),
        sentence("XYZ,17,1,2,+1.5mm"),
        sentence("BRG,17,1,2"),
        sentence("BRG,17,1,2,+1,5mm"),
        sentence("BRG,17,1,2,+1.5kg"),
        sentence("BRG,18446744073709551616,1,2,+1.5mm"),
        sentence("BRG,-1,1,2,+1.5mm"),
        sentence("BRG,1,18446744073709551616,2,+1.5mm"),
        sentence("BRG,1,-1,2,+1.5mm"),
        sentence("BRG,1,1,2147483648,+1.5mm"),
        sentence("BRG,1,1,0x2,+1.5mm"),
        sentence("BRG,1,1,,+1.5mm"),
        b"x" + sentence("BRG,17,1,2,+1.5mm"),
    ],
)
def test_bridge_refused(line: bytes) -> None:
    assert one("bridge", line).fault is not None
    assert one("bridge", line).value is None


def test_numbers_of_a_bridge_that_go_round_later_than_ours_are_taken() -> None:
    """A clock of 64 bits would be refused after 71 minutes, a longer sequence number after 65536 lines."""
    lines = sentence("BRG,65535,4294967295,2,+1.5mm") + sentence("BRG,65536,4294967305,3,+1.5mm")
    first, second = decode("bridge", lines)
    assert (second.value, second.sequence, second.device_us) == (1.5, 0, 9)
    assert first.flags == second.flags == ()  # no gap


def test_a_bridge_with_a_clock_of_64_bits_is_read_after_weeks() -> None:
    """More than ten digits: 10**10 us are under three hours."""
    record = one("bridge", sentence("BRG,17,1234567890123456,2,+1.5mm"))
    assert (record.value, record.device_us) == (1.5, 1234567890123456 % 2**32)


@pytest.mark.parametrize("place", range(len(sentence("BRG,17,1,2,+1.5mm")) - 2))
def test_no_flipped_bit_passes_the_checksum(place: int) -> None:
    line = sentence("BRG,17,1,2,+1.5mm")
    for bit in range(8):
        wrong = bytearray(line)
        wrong[place] ^= 1 << bit
        assert all(record.fault is not None for record in decode("bridge", bytes(wrong)))
