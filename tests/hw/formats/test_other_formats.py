"""quad_x4, wedge and modbus_rtu, the table of formats, and records as JSON."""

from __future__ import annotations

import json
import subprocess
import sys

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import FORMATS, make_decoder, read_options
from hw.formats.modbus_rtu import ModbusRtu, crc16, request
from hw.formats.shared.record_json import to_json
from hw.formats.shared.wire_format import Query
from hw.reading import FormatError, Record

steady = settings(max_examples=2 * settings().max_examples)


def decode(name: str, text: str, **options: object) -> list[Record]:
    decoder = make_decoder(name, options)
    records = decoder.feed(text.encode()) + decoder.finish()
    assert decoder.rejects == sum(record.fault is not None for record in records)
    return records


def one(name: str, text: str, **options: object) -> Record:
    (record,) = decode(name, text, **options)
    return record


@pytest.mark.parametrize(
    ("run", "counts", "illegal"),
    [
        ("02310", 4, 0),
        ("01320", -4, 0),
        ("0202", 1, 0),
        ("03", 0, 1),
        ("0", 0, 0),
        ("0 0 2 2", 1, 0),
        ("1203", -1, 2),
    ],
)
def test_quad_x4(run: str, counts: int, illegal: int) -> None:
    record = one("quad_x4", run)
    assert (record.counts, record.illegal, record.value) == (counts, illegal, None)
    assert to_json(record, "scale", 1.0) == {"counts": counts, "illegal": illegal}


def test_quad_x4_runs_stand_alone() -> None:
    assert [r.counts for r in decode("quad_x4", "023\n\n02x1\r\n10\n")] == [2, None, 1]
    (foreign,) = decode("quad_x4", "é\n")
    assert foreign.fault is not None


@steady
@given(st.lists(st.integers(-3, 3), max_size=60))
def test_quad_x4_counts_what_was_walked(moves: list[int]) -> None:
    place, states = 0, [0]
    for move in moves:
        for _ in range(abs(move)):
            place += 1 if move > 0 else -1
            states.append((0, 2, 3, 1)[place % 4])
    record = one("quad_x4", "".join(map(str, states)))
    assert (record.counts, record.illegal) == (place, 0)


@pytest.mark.parametrize(
    ("keys", "value"),
    [
        ("MINUS 0 DOT 1 2 ENTER", -0.12),
        ("KEY_MINUS KEY_0 KEY_DOT KEY_1 KEY_2 KEY_ENTER", -0.12),
        ("KP1 KPDOT KP5 KPENTER", 1.5),
        ("2 COMMA 5 ENTER", 2.5),
        ("KEY_KPPLUS KEY_SPACE KEY_1 KEY_DOT KEY_5 KEY_ENTER", 1.5),
        ("ENTER 1 DOT 5 ENTER ENTER", 1.5),
    ],
)
def test_wedge(keys: str, value: float) -> None:
    record = one("wedge", keys)
    assert (record.value, record.flags, record.fault) == (value, ("default_unit",), None)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("1 2", "no ENTER before the time-out"),
        ("1 DOT 2", "no ENTER"),
        ("1 DOT 2 TAB", "no ENTER"),
        ("1 DOT 2 TAB ENTER", "'TAB' has no place"),
        ("KEY_1 KEY_DOT KEY_2 KEY_A KEY_ENTER", "'KEY_A' has no place"),
        ("1 2 ENTER", "without a decimal point"),
        ("1 DOT ENTER", "no digit after"),
        ("1 DOT 2 DOT 3 ENTER", "second decimal point"),
        ("0 DOT " + "1 " * 70 + "ENTER", "64 keys"),
        ("1.5 ENTER", "'1.5' has no place"),
    ],
)
def test_wedge_refused(keys: str, words: str) -> None:
    record = one("wedge", keys)
    assert record.value is None and record.fault is not None and words in record.fault


def test_wedge_options_and_several_in_a_run() -> None:
    assert one("wedge", "1 DOT 5 TAB", terminator="TAB").value == 1.5
    assert one("wedge", "1 DOT 5 ENTER", default_unit="in").value == 38.1
    assert one("wedge", "1 2 3 4 ENTER", decimals=2).value == 12.34
    assert one("wedge", "9 DOT 5 ENTER", range_mm="0,5").fault is not None
    assert one("wedge", "MINUS MINUS MINUS ENTER").status == "no_reading"
    several = decode("wedge", "1 DOT 5 ENTER 2 DOT 5 ENTER 3\n")
    assert [record.value for record in several] == [1.5, 2.5, None]
    (long,) = decode("wedge", "KEY_1 " * 1000 + "ENTER\n")
    assert long.fault is not None and "1024 bytes" in long.fault


def test_crc_against_published_vectors() -> None:
    # the check value of CRC-16/MODBUS in the catalogue of parametrised CRC algorithms: 0x4B37
    assert crc16(b"123456789") == (0x4B37).to_bytes(2, "little")
    # frames printed in an encoder's manual
    assert request(1, 0) == bytes.fromhex("01 03 00 00 00 02 c4 0b")
    assert crc16(bytes.fromhex("01 83 01")).hex() == "80f0"


@steady
@given(st.binary(max_size=40))
def test_crc_bit_by_bit(data: bytes) -> None:
    crc = 0xFFFF  # the procedure of the specification, without a table
    for byte in data:
        crc ^= byte
        for _ in range(8):
            low, crc = crc & 1, crc >> 1
            if low:
                crc ^= 0xA001
    assert crc16(data) == bytes([crc & 0xFF, crc >> 8])


def closed(body: str) -> str:
    data = bytes.fromhex(body)
    return (data + crc16(data)).hex(" ")


def test_modbus_rtu() -> None:
    # published examples in the manual of an encoder
    assert one("modbus_rtu", "01 03 04 00 00 27 10 e0 0f").value == 10.0
    assert one("modbus_rtu", "010304000027 10E00F").value == 10.0
    assert one("modbus_rtu", "01 03 04 ff ff ff ce 3a 73").value == -0.05
    assert one("modbus_rtu", "01 83 01 80 f0").status == "exception_1"
    assert one("modbus_rtu", closed("010304 2710 0000"), words="lo_hi").value == 10.0
    assert one("modbus_rtu", "01 03 04 00 00 27 10 e0 0f", scale_mm="0.0005").value == 5.0
    assert one("modbus_rtu", "01 03 04 00 00 27 10 e0 0f", scale_mm=0.0005).value == 5.0
    assert one("modbus_rtu", closed("070304 00000001"), address="7").value == 0.001
    assert one("modbus_rtu", closed("010404 00000001"), function=4).value == 0.001
    assert request(1, 0, 4)[:6] == bytes.fromhex("01 04 00 00 00 02")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("01 03 04 00 00 27 10 e0 0e", "CRC"),
        ("01 03 04 00 00 27 11 e0 0f", "CRC"),
        ("01 03 04 00 00 27 10 0f e0", "CRC"),
        (closed("02 03 04 00 00 27 10"), "address 2, not 1"),
        (closed("01 04 04 00 00 27 10"), "function 3"),
        (closed("01 03 02 27 10"), "function 3"),
        (closed("01 03 08 00 00 27 10 00 00 00 00"), "function 3"),
        (closed("01 84 01"), "function 3"),
        (closed("01 03"), "too few"),
        ("01 03 04 00 00 27 10 e0 0f 00", "function 3"),
        ("01 03 04 00 00 27 10 e0 0", "hexadecimal"),
        ("zz", "hexadecimal"),
        ("01", "too few"),
    ],
)
def test_modbus_rtu_refused(text: str, words: str) -> None:
    record = one("modbus_rtu", text)
    assert record.value is None and record.fault is not None and words in record.fault


def test_every_flipped_bit_fails_the_crc() -> None:
    good = bytes.fromhex("01030400002710e00f")
    decoder = ModbusRtu()
    for place in range(len(good)):
        for bit in range(8):
            wrong = bytearray(good)
            wrong[place] ^= 1 << bit
            (record,) = decoder.feed(Query.to_text(bytes(wrong)))
            assert record.fault is not None
    assert decoder.rejects == 72


def test_json() -> None:
    keys = ["value", "unit", "instrument", "at", "flags", "status", "fault"]
    value = to_json(Record(value=12.345, flags=("hold",)), "indicator", 1.234)
    assert list(value) == keys
    assert value["value"] == 12.345 and value["instrument"] == "indicator" and value["flags"] == ["hold"]
    refused = to_json(Record(fault="why", raw=b"\xff\x00"))
    assert list(refused) == [*keys, "raw"] and refused["raw"] == "ff00" and refused["value"] is None
    assert to_json(Record(axis="X", counts=5)) == {"axis": "X", "counts": 5}
    assert to_json(Record(value=1.0, channel="2"))["channel"] == "2"
    scale = one("sync48", "0" * 48)
    assert to_json(scale)["counts_abs"] == 0
    for answer in (value, refused, to_json(scale)):
        assert json.loads(msgspec.json.encode(answer)) == answer


def test_table() -> None:
    assert set(FORMATS) >= {
        "line", "sync52", "sync24", "sync48", "bcd28", "quad_x4", "wedge", "modbus_rtu",
    }  # fmt: skip
    for name, entry in FORMATS.items():
        make_decoder(name)
        assert entry.words and entry.name == name
        for option in entry.options:
            assert option.words
            if option.default is not None and option.name != "scale_mm":
                assert read_options(name, {option.name: option.default})[option.name] == option.default


@pytest.mark.parametrize(
    ("name", "options", "words"),
    [
        ("sync24", {"decimals": 2}, "sync24 has no option 'decimals'"),
        ("quad_x4", {"invert": True}, "quad_x4 has no option"),
        ("sync52", {"timeout": 3}, "seconds, from"),
        ("sync52", {"timeout": "inf"}, "seconds, from"),
        ("sync48", {"order": "x"}, "abs_first, display_first"),
        ("sync24", {"gap_us": "fast"}, "a whole number"),
        ("sync24", {"edge": "up"}, "rising, falling"),
        ("modbus_rtu", {"scale_mm": "0"}, "above zero"),
        ("modbus_rtu", {"scale_mm": "1_0"}, "above zero"),
        ("modbus_rtu", {"scale_mm": "1e305"}, "above zero and at most 1000"),
        ("modbus_rtu", {"scale_mm": True}, "above zero"),
        ("modbus_rtu", {"address": "0"}, "from 1 to 247"),
        ("wedge", {"terminator": "SPACE"}, "ENTER, TAB"),
        ("wedge", {"default_unit": "cm"}, "mm, inch, in$"),
    ],
)
def test_wrong_options_of_other_formats(name: str, options: dict[str, object], words: str) -> None:
    with pytest.raises(FormatError, match=words):
        make_decoder(name, options)


def test_the_table_is_cheap_to_import() -> None:
    script = (
        "import sys, hw.formats; hw.formats.make_decoder('line', {});"
        "print([m for m in sys.modules if m.split('.')[0] in {'numpy', 'pint', 'asyncio', 'fractions'}])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["[]"]
