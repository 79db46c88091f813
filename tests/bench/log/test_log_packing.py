"""Packed columns come back bit for bit, and damage is noticed."""

from __future__ import annotations

import contextlib
import struct
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.log import packing

WORDS = st.integers(-(2**63), 2**63 - 1)


def bits(values: list[float]) -> bytes:
    return array("d", values).tobytes()


@given(st.lists(WORDS))
def test_whole_numbers_come_back(values: list[int]) -> None:
    assert packing.unpack_integers(packing.pack_integers(values)) == values


@given(st.lists(st.floats()))
def test_any_floats_come_back_with_their_bits(values: list[float]) -> None:
    assert bits(packing.unpack_floats(packing.pack_floats(values))) == bits(values)


@given(st.lists(st.integers(-(10**9), 10**9)), st.integers(0, 6))
def test_decimal_readings_come_back_with_their_bits(counts: list[int], decimals: int) -> None:
    values = [float(f"{count}e-{decimals}") for count in counts]
    assert bits(packing.unpack_floats(packing.pack_floats(values))) == bits(values)


@pytest.mark.parametrize("odd", [-0.0, float("nan"), float("inf"), 5e-324, 2.0**53, 1e300])
def test_odd_floats_among_plain_ones(odd: float) -> None:
    values = [0.001, 0.002, 0.003, 0.004, 0.005, odd]
    assert bits(packing.unpack_floats(packing.pack_floats(values))) == bits(values)


def test_a_nan_keeps_its_payload() -> None:
    strange = struct.unpack("<d", b"\1\2\3\4\5\6\xf8\x7f")[0]
    assert bits(packing.unpack_floats(packing.pack_floats([strange]))) == bits([strange])


@given(st.lists(st.integers(-(10**6), 10**6), min_size=1), st.data())
def test_a_changed_byte_is_noticed(values: list[int], data: st.DataObject) -> None:
    """zlib's own checksum (RFC 1950) covers the numbers; only the two bytes of kind and order are outside it."""
    packed = bytearray(packing.pack_integers(values))
    where = data.draw(st.integers(3, len(packed) - 1))
    packed[where] ^= data.draw(st.integers(1, 255))
    with contextlib.suppress(packing.PackingError):
        assert packing.unpack_integers(bytes(packed)) == values  # header bits that zlib does not use


@given(st.binary(max_size=60))
def test_rubbish_is_refused_with_one_error(data: bytes) -> None:
    with pytest.raises(packing.PackingError):
        packing.unpack_integers(data)


def test_the_kind_is_not_mistaken() -> None:
    with pytest.raises(packing.PackingError, match="whole numbers expected"):
        packing.unpack_integers(packing.pack_floats([0.5]))
    with pytest.raises(packing.PackingError, match="floats expected"):
        packing.unpack_floats(packing.pack_integers([5]))
