"""Frames written down by hand, good and bad, through the command `decode` as a user runs it.

Not one comes from our own encoders. Those marked "printed" are examples of manuals and public notes; the rest break
one rule each. Values are the decimal digits of the frame times 25.4 or 1 (25.4 mm an inch exactly: NIST SP 811).
"""

from __future__ import annotations

import json
import subprocess
import sys
from decimal import Decimal

import pytest
from click.testing import CliRunner

from bench.cli.decode import decode

KEYS = ["value", "unit", "instrument", "at", "flags", "status", "fault"]
X = "rejected"


def decoded(data: bytes, name: str, *options: str) -> list[dict]:
    args = ["--format", name, "--json"]
    for option in options:
        args += ["--option", option]
    done = CliRunner().invoke(decode, args, input=data, standalone_mode=False)
    assert done.exception is None and done.return_value == 0
    return [json.loads(line) for line in done.stdout.splitlines()]


def short(answer: dict) -> object:
    """A value as its digits, a status with ?, a refusal as such; and the shape of the object is looked at."""
    if "value" not in answer:
        return {key: value for key, value in answer.items()}
    assert list(answer)[:7] == KEYS
    said = [answer[key] for key in ("value", "status", "fault") if answer[key] is not None]
    assert len(said) == 1 and answer["instrument"] == "indicator" and answer["unit"] in {"mm", "inch"}
    assert ("raw" in answer) == (answer["fault"] is not None)
    if answer["fault"] is not None:
        bytes.fromhex(answer["raw"])
        return X
    if answer["status"] is not None:
        return "?" + answer["status"]
    assert str(answer["value"]) != "-0.0"
    return answer["value"]


def mm(text: str) -> float:
    return float(Decimal(text))


def inch(text: str) -> float:
    return float(Decimal(text) * Decimal("25.4"))


# fmt: off
PLAIN = [
    ("+ 2.1380, MM", mm("2.138")),  # printed
    ("ERR0", "?sensor_error"),  # printed, with the next three
    ("ERR1", "?bad_command"), ("ERR2", "?parity_error"), ("ERR3", "?out_of_range"), ("+12.34.5 mm", X),
    ("+0000.000 mm", 0.0), ("-0000.000 mm", 0.0), ("-0.0", 0.0),
    ("+00012.5000 mm", 12.5),  # leading and trailing noughts
    ("- 12.5 mm", -12.5), ("-   12.5 mm", -12.5), (".0005 in", inch(".0005")), ("-.5", -0.5),
    ("12.5mm", 12.5), ("12.5,mm", 12.5), ("12.5 ,  IN", inch("12.5")), ("12,5", 12.5),
    ("12,5,mm", 12.5), ('0.5"', inch("0.5")), ("0.5 inch", inch("0.5")), ("-----", "?no_reading"),
    ("5. mm", X), ("5", X), ("12 mm", X),
    ("12 , 5 mm", X),  # a blank after the comma: it parts fields
    ("12 ,5", X), ("1,234.5 mm", X), ("1.234,5 mm", X), ("1,2,3", X), ("--1.5", X), ("+-1.5", X),
    ("-+1.5", X), ("1.5-", X), ("1.5 -mm", X), ("1 2.5 mm", X), ("1.5 2.5", X), ("1. 5 mm", X),
    ("1 .5 mm", X),
    ("1.5 INCH", X),  # not among the seven
    ("1.5 Mm", X), ("1.5 cm", X), ("1.5 m", X), ("1.5 M", X), ("1.5 I", X), ("1.5''", X),
    ('1.5 mm"', X), ("1.5 mm x", X), ("x 1.5 mm", X), ("1.5e3", X), ("0x1.5", X), ("1_000.5", X),
    ("inf", X), ("nan mm", X), ("mm 1.5", X), ("1.5;2.5", X), ("+1.5 mm OK", X), ("ERR9", X),
    ("err0", X), ("ERR0 mm", X), ("--", X), ("--- mm", X), ("\t1.5 mm", X), ("1.5\x001", X),
    ("\x1b1.5", X),
    ("1.5 mm" + " " * 59, X),  # 65 bytes
    ("1.5 mm" + " " * 58, 1.5),  # 64
]
# fmt: on


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"], ids=["CR", "LF", "CR LF"])
def test_plain(end: str) -> None:
    data = "".join(line + end for line, _ in PLAIN).encode()
    assert [short(a) for a in decoded(data, "line", "profile=plain")] == [wanted for _, wanted in PLAIN]


@pytest.mark.parametrize(
    ("data", "options", "wanted"),
    [
        (b"\r\n\r\n1.5\r\r\n\n2.5\n\r3.5\r\n", (), [1.5, 2.5, 3.5]),  # empty lines are nothing
        (b"345 mm\r\n1.5 mm\r\n", ("at_open=true",), [1.5]),
        (b"345 mm\r\n1.5 mm\r\n", (), [X, 1.5]),
        (b"12.345 mm\r1.5 mm\r\n", ("at_open=true",), [1.5]),
        (b"\n1.5\n", ("at_open=true",), [1.5]),
        (b"1.5\n2.", (), [1.5, X]),
        (b"1.5 mm1.5 mm\n", (), [X]),  # glued
        (b"1" * 65 + b"\n1.5\n", (), [X, 1.5]),
        (b"z" * 5000 + b"\n1.5\n" + b"z" * 70 + b"\r\n2.5\n", (), [X, 1.5, X, 2.5]),
        (b"1.5\x80\n1\xb5.5\n1.5\x7f\n1.5\n", (), [X, X, X, 1.5]),
        (b"+0012345\r-0012345\r+12.345\r", ("decimals=3",), [12.345, -12.345, 12.345]),
        (b"12345 in\r", ("decimals=4",), [inch("1.2345")]),
        (b"1.5\r1.5 mm\r", ("default_unit=in",), [inch("1.5"), 1.5]),
        (b"1.0\r5.0\r5.001\r-1.001\r0.2 in\r", ("range_mm=-1,5",), [1.0, 5.0, X, X, X]),
        (b"10.0 mm\r0.5 in\r10.0 mm\r", (), [10.0, 12.7, 10.0]),  # the unit switched and back
    ],
)
def test_streams_of_lines(data: bytes, options: tuple[str, ...], wanted: list[object]) -> None:
    found = decoded(data, "line", *options)
    assert [short(a) for a in found] == [pytest.approx(w) if isinstance(w, float) else w for w in wanted]


def test_unit_and_flags() -> None:
    mm_, in_, none = decoded(b"1.5 mm\r1.5 in\r1.5\r", "line")
    assert (mm_["unit"], in_["unit"], none["unit"]) == ("mm", "inch", "mm")
    assert (mm_["flags"], in_["flags"], none["flags"]) == ([], [], ["default_unit"])
    (inches,) = decoded(b"1.5\r", "line", "default_unit=in")
    assert inches["unit"] == "inch" and inches["flags"] == ["default_unit"]


def test_even_parity_written_out() -> None:
    """'+1.5' CR LF at seven bits and even parity: 2b has four ones, 31 three, 2e four, 35 four, 0d three, 0a two."""
    line = bytes([0x2B, 0xB1, 0x2E, 0x35, 0x8D, 0x0A])
    assert [short(a) for a in decoded(line, "line", "parity7=even")] == [1.5]
    assert [short(a) for a in decoded(line, "line")] == [X]
    spoilt = bytes([0x2B, 0xB1, 0x2E, 0xB5, 0x8D, 0x0A]) + line
    assert [short(a) for a in decoded(spoilt, "line", "parity7=even")] == [X, 1.5]
    assert [short(a) for a in decoded(line, "line", "parity7=odd")] == [X]


PROFILES = [
    ("code_channel_item", "01A+00.12345", 0.12345),  # printed
    ("code_channel_item", "01A-000.1234", -0.1234),
    ("code_channel_item", "01A+0.1234567", X),
    ("code_channel_item", "01A+00.1234", X),
    ("code_channel_item", "01A00.12345", X),
    ("code_channel_item", "01B+00.12345", X),
    ("code_channel_item", "+00.12345", X),
    ("code_channel_item", "01A+00.12345 mm", X),
    ("code_channel_item", "01A+001.2.45", X),
    ("code_channel_item", "01A+00012345", X),
    ("mux", "1 MW+003.4665 inch", inch("3.4665")),  # printed, with the next three
    ("mux", "2 MW-00088.29 mm", -88.29),
    ("mux", "4 MW +00001.55 mm", 1.55),
    ("mux", "3 TO 999999.99 mm", "?gauge_error"),
    ("mux", "0 MW+003.4665 mm", X),
    ("mux", "5 MW+003.4665 mm", X),
    ("mux", "1MW+003.4665 mm", X),
    ("mux", "1 MW+003.4665", X),
    ("mux", "1 MW003.4665 mm", X),
    ("mux", "1 MW+03.4665 mm", X),
    ("mux", "1 MW+0003.4665 mm", X),
    ("mux", "1 MX+003.4665 mm", X),
    ("mux", "1 MW+003.4665 mm.", X),
    ("mux", "3 TO 003.4665 mm", X),
    ("mux", "1 MW+003.4665 mm 2 MW-00088.29 mm", X),
    ("mode_letter", "a- 0.125MU ", -0.125),  # printed
    ("mode_letter", "A+ 1.500M  ", 1.5),
    ("mode_letter", " + 0.1000I  ", inch("0.1")),
    ("mode_letter", "a- 0.000M  ", 0.0),
    ("mode_letter", "a-0.125MU ", X),
    ("mode_letter", "- 0.125MU ", X),
    ("mode_letter", "b- 0.125MU ", X),
    ("mode_letter", "a- 0.125U ", X),
    ("mode_letter", "a- 0.125 mm", X),
    ("mode_letter", "a- 0.125MX ", X),
    ("mode_letter", "a- 0.125MU", X),
    ("mode_letter", "a- 0.125MU  ", X),
    ("mode_letter", "a- 0125MU ", X),
]


@pytest.mark.parametrize(("profile", "line", "wanted"), PROFILES)
def test_profiles(profile: str, line: str, wanted: object) -> None:
    (answer,) = decoded(line.encode() + b"\r\n", "line", f"profile={profile}")
    assert short(answer) == (pytest.approx(wanted) if isinstance(wanted, float) else wanted)
    if profile == "mux" and wanted != X:
        assert answer["channel"] == line[0]


@pytest.mark.parametrize(
    ("line", "flags"),
    [
        ("A+ 1.0M  ", ["hold"]),
        ("a+ 1.0M  ", []),
        (" + 1.0M  ", []),
        ("M+ 1.0MO ", ["hold", "max", "over"]),
        ("m+ 1.0M0 ", ["max", "over"]),
        ("L+ 1.0MU ", ["hold", "min", "under"]),
        ("t+ 1.0M  ", ["tir"]),
    ],
)
def test_modes(line: str, flags: list[str]) -> None:
    (answer,) = decoded(line.encode() + b"\n", "line", "profile=mode_letter")
    assert answer["flags"] == flags and answer["value"] == 1.0


def test_counts_of_a_bridge() -> None:
    found = decoded(b"X1234;Y-5;Z;1;X1.5;X 5;X0;\r\nX7;X8", "line", "profile=bridge_counts")
    assert found[0] == {"axis": "X", "counts": 1234} and found[1] == {"axis": "Y", "counts": -5}
    assert [short(a) for a in found[2:]] == [
        X,
        X,
        X,
        X,
        {"axis": "X", "counts": 0},
        {"axis": "X", "counts": 7},
        X,
    ]


CLOCKED = [
    # printed
    ("sync52", "1111 1111 1111 1111 0001 0000 1000 0100 1100 0010 1010 1100 0000", mm("-12.345")),
    ("sync52", "1111 1111 1111 1111 0000 0100 1000 0000 1110 0110 1010 0010 0000", mm("21.0765")),
    ("sync52", "0001 1111 0000 0000 0000 0000 0000 0000 1000 0100 1100 1100 0000", mm("0.123")),
    ("sync52", "1111 1111 1111 1111 0000 0000 0000 0000 1000 0100 1010 0010 1000", inch("0.0125")),
    # d4 = 7: a seventh digit; d13 = 6: inch, go
    ("sync52", "1111 1111 1111 1110 0000 1000 0100 1100 0010 1010 0110 1100 0000", mm("7123.456")),
    ("sync52", "1111 1111 1111 1111 0000 0000 0000 0000 1000 0000 0000 0100 0110", inch("1")),
    ("sync52", "1111 1111 1111 1111 0001 0000 0000 0000 0000 0000 0000 1100 0000", 0.0),  # minus nought
    (
        "sync52",
        "1111 1111 1111 1111 0000 0000 0000 0000 1000 0100 0101 1100 0000",
        X,
    ),  # printed as bad: a digit A
    ("sync52", "1111 1111 1111 0101 0000 0000 0000 0000 1000 0100 1100 1100 0000", X),  # d4 = A
    ("sync52", "1111 1111 0000 1111 0000 0000 0000 0000 1000 0100 1100 1100 0000", X),  # d3
    ("sync52", "0001 0001 0000 0000 0000 0000 0000 0000 1000 0100 1100 1100 0000", X),  # d2
    ("sync52", "1111 1111 1111 1111 1000 0000 0000 0000 1000 0100 1100 1100 0000", X),  # d5 = 1
    ("sync52", "1111 1111 1111 1111 1001 0000 0000 0000 1000 0100 1100 1100 0000", X),  # d5 = 9
    ("sync52", "1111 1111 1111 1111 0000 0000 0000 0000 1000 0100 1100 0110 0000", X),  # d12 = 6
    ("sync52", "1111 1111 1111 1111 0000 0000 0000 0000 1000 0100 1100 1100 0001", X),  # d13 = 8
    ("sync52", "1111 1111 1111 1111 0000 0000 0000 0000 1000 0100 1100 1100 000", X),
    ("sync52", "1" * 52, X),
    ("sync52", "0" * 52, X),
    ("sync24", "0100 1011 0010 0000 0000 0000", mm("12.34")),  # printed, with the next two
    ("sync24", "1100 0110 0000 0000 0000 1000", mm("-0.99")),
    ("sync24", "0111 0010 0000 0000 0000 1001", inch("-0.0390")),
    ("sync24", "0010 0011 1001 0000 0000 0001", inch("1.2500")),
    ("sync24", "0000 0000 0000 0000 0000 1000", 0.0),
    ("sync24", "0100 1011 0010 0000 0000 0100", X),
    ("sync24", "0100 1011 0010 0000 0000 0010", X),
    ("sync24", "0100 1011 0010 0000 0000 000", X),
    ("sync24", "0100 1011 0010 0000 0000 0000 0", X),
    ("sync24", "0100 1011 0010 0000 0000 0002", X),
    ("bcd28", "1000 0000 0001 1001 0000 0000 0100", inch("9.8015")),  # printed
    ("bcd28", "0010 1100 0100 1000 0000 0000 0010", mm("12.34")),
    ("bcd28", "0000 1010 0000 0000 0000 0000 1010", mm("-0.50")),
    ("bcd28", "0000 0000 0000 0000 0000 0000 1010", 0.0),
    ("bcd28", "0101 0000 0000 0000 0000 0000 0010", X),
    ("bcd28", "0000 0000 0000 0000 0000 1111 0010", X),
    ("bcd28", "1000 0000 0000 0000 0000 0000 0110", X),
    ("bcd28", "1000 0000 0000 0000 0000 0000 001", X),
    ("sync48", "1" * 48, X),
    ("sync48", "0" * 47, X),
    ("sync48", "0" * 49, X),
]


@pytest.mark.parametrize(("name", "bits", "wanted"), CLOCKED)
def test_clocked(name: str, bits: str, wanted: object) -> None:
    (answer,) = decoded(bits.encode() + b"\n", name)
    assert short(answer) == (pytest.approx(wanted, rel=1e-15) if isinstance(wanted, float) else wanted)
    other = bits.translate(str.maketrans("01", "10")).encode()
    (turned,) = decoded(other, name, "invert=true")
    assert short(turned) == short(answer)
    if isinstance(wanted, float):
        (out,) = decoded(bits.encode(), name, "range_mm=9000,9001")
        assert short(out) == X


def test_scale_of_two_words() -> None:
    """Words of 0x001F7F and 0xFFE081 (printed); 2500 and 1024 written out; both 0xFFB000."""
    data = (
        b"1111 1110 1111 1000 0000 0000 1000 0001 0000 0111 1111 1111\n"
        b"0010 0011 1001 0000 0000 0000 0000 0000 0010 0000 0000 0000\n"
        b"0000 0000 0000 1101 1111 1111 0000 0000 0000 1101 1111 1111\n"
        b"0000 0000 0000 0000 0000 0000 0000 0000 0000 0000 0000 0000\n"
    )
    found = decoded(data, "sync48")
    assert [(a["counts_abs"], a["counts"]) for a in found] == [
        (8063, 8063),
        (2500, -1024),
        (-20480, 20480),
        (0, 0),
    ]
    assert [round(a["value"], 6) for a in found] == [10.00001, -1.27, 25.4, 0.0]
    assert {a["unit"] for a in found} == {"mm"}


@pytest.mark.parametrize(
    ("states", "wanted"),
    [
        ("02310", {"counts": 4, "illegal": 0}),
        ("01320", {"counts": -4, "illegal": 0}),
        ("0202", {"counts": 1, "illegal": 0}),
        ("03", {"counts": 0, "illegal": 1}),
        ("0312", {"counts": 1, "illegal": 2}),
        ("00022", {"counts": 1, "illegal": 0}),
        ("024", X),
        ("0-2", X),
    ],
)
def test_states(states: str, wanted: object) -> None:
    (answer,) = decoded(states.encode() + b"\n", "quad_x4")
    assert short(answer) == wanted


@pytest.mark.parametrize(
    ("keys", "options", "wanted"),
    [
        ("KEY_MINUS KEY_0 KEY_DOT KEY_1 KEY_2 KEY_ENTER", (), [-0.12]),
        ("KEY_KP1 KEY_KPDOT KEY_KP5 KEY_KPENTER", (), [1.5]),
        ("KEY_2 KEY_COMMA KEY_5 KEY_ENTER", (), [2.5]),
        ("KEY_1 KEY_2", (), [X]),
        ("KEY_1 KEY_DOT KEY_2", (), [X]),
        ("KEY_1 KEY_2 KEY_ENTER", (), [X]),
        ("KEY_1 KEY_2 KEY_ENTER", ("decimals=1",), [1.2]),
        ("KEY_A KEY_1 KEY_DOT KEY_2 KEY_ENTER", (), [X]),
        ("KEY_1 KEY_DOT KEY_2 KEY_M KEY_M KEY_ENTER", (), [X]),
        ("KEY_1 KEY_MINUS KEY_DOT KEY_2 KEY_ENTER", (), [X]),
        ("KEY_1 KEY_DOT KEY_2 KEY_DOT KEY_3 KEY_ENTER", (), [X]),
        ("KEY_1 KEY_DOT KEY_2 KEY_TAB", (), [X]),
        ("KEY_1 KEY_DOT KEY_2 KEY_TAB", ("terminator=TAB",), [1.2]),
        ("KEY_1 KEY_DOT KEY_2 KEY_ENTER", ("terminator=TAB",), [X]),
        ("KEY_1 KEY_DOT KEY_5 KEY_ENTER", ("default_unit=in",), [38.1]),
        ("KEY_1 KEY_DOT KEY_5 KEY_ENTER", ("range_mm=0,1",), [X]),
    ],
)
def test_keys(keys: str, options: tuple[str, ...], wanted: list[object]) -> None:
    assert [short(a) for a in decoded(keys.encode() + b"\n", "wedge", *options)] == wanted


@pytest.mark.parametrize(
    ("answer", "options", "wanted"),
    [
        ("01 03 04 00 00 27 10 e0 0f", (), 10.0),  # printed, with the next three
        ("01 03 04 ff ff ff ce 3a 73", (), -0.05),
        ("01 83 01 80 f0", (), "?exception_1"),
        ("01 03 00 00 00 02 c4 0b", (), X),  # our own request come back
        ("01 03 04 00 00 27 10 e0 0f", ("scale_mm=0.0005",), 5.0),
        ("01 03 04 00 00 27 10 e0 0f", ("address=2",), X),
        ("01 03 04 00 00 27 10 e0 0f", ("words=lo_hi",), float(Decimal(0x27100000) / 1000)),
        ("01 03 04 00 00 27 10 e0 0f", ("range_mm=0,9",), X),
        ("01 03 04 00 00 27 10 0f e0", (), X),
        ("01 03 04 00 00 27 10 e0", (), X),
        ("01 03 04 00 00 27 10 e0 0f 00", (), X),
        ("01030400002710e00f", (), 10.0),
        ("01 03 04 00 00 27 1g e0 0f", (), X),
    ],
)
def test_modbus(answer: str, options: tuple[str, ...], wanted: object) -> None:
    (one,) = decoded(answer.encode() + b"\n", "modbus_rtu", *options)
    assert short(one) == wanted


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--format", "sync25"], "sync25"),
        pytest.param([], "--format", marks=pytest.mark.ci),
        pytest.param(["--format", "line", "--option", "profile"], "KEY=VALUE", marks=pytest.mark.ci),
        pytest.param(["--format", "line", "--option", "profile=plane"], "plane", marks=pytest.mark.ci),
        pytest.param(["--format", "sync24", "--option", "decimals=2"], "decimals", marks=pytest.mark.ci),
        pytest.param(["--format", "line", "--option", "range_mm=5,1"], "range_mm", marks=pytest.mark.ci),
        pytest.param(["--format", "line", "--sorts"], "--sorts", marks=pytest.mark.ci),
    ],
)
def test_wrong_use_is_one_line(args: list[str], says: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bench.cli", "decode", *args], input=b"", capture_output=True, check=False
    )
    assert done.returncode == 2 and done.stdout == b""
    (line,) = done.stderr.decode().splitlines()
    assert says in line
