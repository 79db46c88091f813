"""What an encoder writes, its decoder reads: the value shown, to the last bit."""

from __future__ import annotations

from fractions import Fraction

import pytest
from encoders import ENCODERS, LINE_ENCODERS, BridgeEncoder, display, make_encoder
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import FORMATS, make_decoder
from hw.formats.line import PROFILES
from hw.reading import FormatError

steady = settings(max_examples=7 * settings().max_examples)

OWN = {"resolution", "send_unit", "mode", "digits"}

# options, and the step shown: a fraction of a mm
INCH = Fraction(254, 10)
CASES: list[tuple[str, dict[str, object], Fraction]] = [
    ("line", {}, Fraction(1, 1000)),
    ("line", {"resolution": 0.01}, Fraction(1, 100)),
    ("line", {"resolution": "0.002 mm", "send_unit": False}, Fraction(2, 1000)),
    ("line", {"resolution": "0.0005 in"}, INCH * Fraction(5, 10000)),
    (
        "line",
        {"resolution": "0.0001 in", "send_unit": "false", "default_unit": "in"},
        INCH * Fraction(1, 10000),
    ),
    ("line", {"decimals": 3, "send_unit": False}, Fraction(1, 1000)),
    ("line", {"parity7": "even"}, Fraction(1, 1000)),
    ("line", {"parity7": "odd", "resolution": "0.01 mm"}, Fraction(1, 100)),
    ("line", {"profile": "code_channel_item"}, Fraction(1, 1000)),
    ("line", {"profile": "mux"}, Fraction(1, 1000)),
    ("line", {"profile": "mux", "channel": 3, "resolution": "0.0001 in"}, INCH * Fraction(1, 10000)),
    ("line", {"profile": "mode_letter"}, Fraction(1, 1000)),
    ("line", {"profile": "mode_letter", "mode": "T", "resolution": "0.0001 in"}, INCH * Fraction(1, 10000)),
    ("line", {"profile": "bridge"}, Fraction(1, 1000)),
    ("line", {"profile": "bridge", "gauge": "sync24"}, Fraction(1, 100)),
    ("line", {"profile": "bridge", "gauge": "sync52", "resolution": "0.0005 in"}, INCH * Fraction(5, 10000)),
    ("line", {"profile": "bridge", "gauge": "sync48"}, INCH / 20480),
    ("line", {"profile": "bridge", "gauge": "bcd28"}, Fraction(1, 100)),
    ("sync52", {}, Fraction(1, 1000)),
    ("sync52", {"digits": 7, "resolution": "0.0001 mm"}, Fraction(1, 10000)),
    ("sync52", {"digits": 8, "invert": True, "resolution": "0.00005 in"}, INCH * Fraction(5, 100000)),
    ("sync24", {}, Fraction(1, 100)),
    ("sync24", {"resolution": "0.02 mm", "invert": "true"}, Fraction(2, 100)),
    ("sync24", {"resolution": "0.0005 in"}, INCH * Fraction(5, 10000)),
    ("sync48", {}, INCH / 20480),
    ("sync48", {"order": "display_first", "sign": "inverted", "invert": True}, INCH / 20480),
    ("sync48", {"sign": "plain"}, INCH / 20480),
    ("bcd28", {}, Fraction(1, 100)),
    ("bcd28", {"resolution": "0.0005 in"}, INCH * Fraction(5, 10000)),
    ("bcd28", {"resolution": "0.001 in", "invert": True}, INCH / 1000),
    ("wedge", {}, Fraction(1, 1000)),
    ("wedge", {"terminator": "TAB", "decimals": 2, "resolution": 0.01}, Fraction(1, 100)),
    ("modbus_rtu", {}, Fraction(1, 1000)),
    ("modbus_rtu", {"words": "lo_hi", "scale_mm": "0.0005", "address": 9, "function": 4}, Fraction(1, 2000)),
]


def decoder_options(options: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in options.items() if key not in OWN}


def test_every_encoder_is_of_a_format_and_is_tried() -> None:
    assert set(ENCODERS) <= set(FORMATS)
    assert list(LINE_ENCODERS) == list(PROFILES)
    assert {name for name, _, _ in CASES} == set(ENCODERS) - {"quad_x4"}


@steady
@given(st.sampled_from(CASES), st.lists(st.floats(-99.9, 99.9), min_size=1, max_size=4))
def test_round_trip(case: tuple[str, dict[str, object], Fraction], lengths: list[float]) -> None:
    name, options, step = case
    encode, decoder = make_encoder(name, options), make_decoder(name, decoder_options(options))
    for mm in lengths:
        (record,) = decoder.feed(encode(mm)) + decoder.finish()
        assert record.value is not None, record.fault
        assert str(record.value) != "-0.0"
        count = round(Fraction(record.value) / step)
        assert record.value == float(count * step)  # a whole count, rounded once
        assert abs(Fraction(mm) - count * step) <= step / 2 * Fraction(1_000_001, 1_000_000)
        assert record.unit == ("inch" if " in" in str(options.get("resolution", "")) else "mm")
        if record.counts_abs is not None:
            assert record.counts == record.counts_abs == count
    assert decoder.rejects == 0


@steady
@given(st.lists(st.integers(-60, 60), max_size=6))
def test_counts_round_trip(places: list[int]) -> None:
    encode, decoder = make_encoder("quad_x4", {"resolution": "0.005 mm"}), make_decoder("quad_x4")
    before = 0
    for place in places:
        (record,) = decoder.feed(encode(place * 0.005))
        assert (record.counts, record.illegal) == (place - before, 0)
        before = place
    counts = make_encoder("line", {"profile": "bridge_counts", "axis": "Y", "resolution": "0.005 mm"})
    fields = make_decoder("line", {"profile": "bridge_counts"})
    for place in places:
        (record,) = fields.feed(counts(place * 0.005))
        assert (record.axis, record.counts) == ("Y", place)


def test_bridge_carries_counts_and_its_clock() -> None:
    encode, decoder = make_encoder("line", {"profile": "bridge"}), make_decoder("line", {"profile": "bridge"})
    assert isinstance(encode, BridgeEncoder)
    (record,) = decoder.feed(encode(-0.5, counts=77, device_us=(1 << 32) + 5))
    assert (record.value, record.counts, record.device_us, record.sequence) == (-0.5, 77, 5, 0)
    for _ in range(70_000):
        encode(0.0)
    assert decoder.feed(encode(0.0))[0].flags == ("gap",)


def test_typical_lines() -> None:
    assert make_encoder("line")(12.345) == b"+0012.345, mm\r\n"
    assert make_encoder("line", {"send_unit": False})(-12.345) == b"-0012.345\r"
    assert (
        make_encoder("line", {"profile": "mux", "channel": 2, "resolution": 0.01})(-88.29)
        == b"2 MW-00088.29 mm\r\n"
    )
    # 0.1 + 0.2 and the like: the digits come from a whole number
    assert make_encoder("line")(0.1 + 0.2) == b"+0000.300, mm\r\n"
    assert make_encoder("line")(-0.0004) == b"+0000.000, mm\r\n"


def test_display() -> None:
    assert display(0.002) == (2, 3, False)
    assert display("0.0005 in").shown(12.7) == 12.7
    assert display("1 mm") == (1, 0, False)


@pytest.mark.parametrize(
    ("name", "options", "words"),
    [
        ("lines", {}, "unknown format"),
        ("line", {"resolution": "0.001 ft"}, "in mm or in"),
        ("line", {"resolution": "x"}, "above zero"),
        ("line", {"resolution": "0.0000001 mm"}, "at most 5 decimals"),
        ("line", {"colour": 1}, "no option 'colour'"),
        ("line", {"send_unit": False, "resolution": "0.001 in"}, "not in mm"),
        ("sync24", {"resolution": "0.005 mm"}, "whole multiple of 0.01 mm"),
        ("sync48", {"resolution": "0.005 mm"}, "no resolution"),
        ("sync52", {"digits": 9}, "from 6 to 8"),
    ],
)
def test_wrong_options(name: str, options: dict[str, object], words: str) -> None:
    with pytest.raises(FormatError, match=words):
        make_encoder(name, options)


@pytest.mark.parametrize("name", ["line", "sync52", "sync24", "sync48", "bcd28", "modbus_rtu"])
def test_what_does_not_fit_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        make_encoder(name)(1e8)
