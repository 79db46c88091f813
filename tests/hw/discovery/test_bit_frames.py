"""Frames that are not read: what would read them. The frames are those of published traces and manuals."""

from __future__ import annotations

import pytest

from hw.discovery.bit_frames import diagnose_bits, is_bits
from hw.formats import make_decoder

# 24 bits, sign and magnitude, 12.34 mm; 52 bits of BCD, -12.345 mm; 28 bits of BCD, 12.34 mm; 48 bits, 8063 counts
SYNC24 = "010010110010000000000000"
SYNC52 = "1111111111111111000100001000010011000010101011000000"
BCD28 = "0010110001001000000000000010"
SYNC48 = "111111101111100000000000100000010000011111111111"
OVER = str.maketrans("01", "10")


def frames(bits: str, many: int = 10) -> bytes:
    return f"{bits}\n".encode() * many


@pytest.mark.parametrize(
    ("bits", "value", "edge"),
    [(SYNC24, 12.34, "falling"), (SYNC52, -12.345, "rising"), (BCD28, 12.34, "rising")],
)
def test_a_transistor_in_the_line_is_found_and_what_is_proposed_reads_it(
    bits: str, value: float, edge: str
) -> None:
    """The edge that is proposed is the other one than without a transistor: the clock is turned over as well."""
    data = frames(bits.translate(OVER))
    heard = diagnose_bits(data, "sync24", {})
    assert heard is not None and heard.proposal is not None
    assert heard.proposal["invert"] is True and heard.proposal["edge"] == edge
    options = {"invert": heard.proposal["invert"]}
    records = make_decoder(str(heard.proposal["format"]), options).feed(data)
    assert [record.value for record in records] == [pytest.approx(value)] * 10


def test_another_format_than_is_set_and_an_inversion_that_is_not_there() -> None:
    heard = diagnose_bits(frames(SYNC52), "sync24", {"invert": True})
    assert heard is not None and heard.proposal == {"format": "sync52", "invert": False, "edge": "falling"}
    heard = diagnose_bits(frames(SYNC24), "sync24", {"invert": True, "edge": "falling"})
    assert heard is not None and heard.proposal == {"format": "sync24", "invert": False, "edge": "rising"}


def test_what_proves_nothing_is_said() -> None:
    heard = diagnose_bits(frames(SYNC48), "sync24", {})
    assert heard is not None and heard.proposal == {"format": "sync48"}
    assert "only the display" in " ".join(heard.evidence)


def test_wires_changed_over_a_length_that_nothing_has_and_missed_edges() -> None:
    heard = diagnose_bits(frames("0000"), "sync24", {})  # as many edges as the data line has
    assert heard is not None and heard.proposal is None and "changed over" in heard.advice
    varied = "".join(f"{'0' * n}\n" for n in (24, 17, 20, 9, 22, 18)).encode()
    heard = diagnose_bits(varied, "sync24", {})
    assert heard is not None and "changed over" in heard.advice
    heard = diagnose_bits(frames(SYNC24 + "11110000"), "sync24", {})
    assert (
        heard is not None
        and heard.proposal is None
        and "32 bits" in heard.words
        and "capture" in heard.advice
    )
    heard = diagnose_bits(frames(SYNC24[:20] + "?" + SYNC24[21:]), "sync24", {})
    assert heard is not None and "missed" in heard.words and "microcontroller" in heard.advice
    heard = diagnose_bits(
        frames(SYNC24[:22] + "1" + SYNC24[23:]), "sync24", {}
    )  # bits 21 and 22 are never set alone
    assert heard is not None and heard.proposal is None and 'edge = "falling"' in heard.advice


def test_a_line_that_never_moves_proves_nothing() -> None:
    heard = diagnose_bits(frames("1" * 24), "sync24", {})
    assert heard is not None and heard.proposal is None and "off zero" in heard.advice


def test_what_is_no_frame_of_bits() -> None:
    assert diagnose_bits(b"", "sync24", {}) is None
    assert is_bits(frames(SYNC24)) and is_bits(b"0?10\n")
    assert not is_bits(b"+1.234 mm\r\n") and not is_bits(b"")
