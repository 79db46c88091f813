"""Packs arrival times, travel and readings into few bytes and back, bit for bit.

A packed column is: one byte of kind (`I` whole numbers, `S` floats that are exactly a
whole number over a power of ten, `F` any floats, by their bit patterns), one byte (the
power of ten), one byte (how often neighbours were subtracted), then a zlib stream of
little-endian 64-bit integers turned into byte planes: all lowest bytes, then all second
bytes, and so on. The stream carries its own checksum, so a damaged column is noticed
and never read as numbers. The machine's own order of bytes is taken for little-endian.
"""

from __future__ import annotations

import zlib
from array import array
from collections.abc import Iterable, Sequence
from contextlib import suppress
from itertools import accumulate, repeat
from operator import mul, sub, truediv

# powers of ten, in the order in which they are tried: decimals that instruments show
_POWERS = (0, 1, 2, 3, 4, 5, 6, 9)
_ORDERS = (0, 1, 2)  # times that tick evenly want 2, a sled in motion 1, noise 0


class PackingError(ValueError):
    """The bytes are not a packed column, or were damaged since."""


def pack_integers(values: Sequence[int]) -> bytes:
    """Whole numbers within 64 bits; raises OverflowError beyond."""
    return b"I\0" + _pack(array("q", values))


def unpack_integers(packed: bytes) -> list[int]:
    kind, _, words = _unpack(packed)
    if kind != b"I":
        raise PackingError(f"whole numbers expected, found a column of kind {kind!r}")
    return words.tolist()


def pack_floats(values: Sequence[float]) -> bytes:
    """Any floats, also nan, infinities and minus zero; what comes back has the same
    bits."""
    wanted = array("d", values)
    for power in _POWERS:
        words = _scaled(wanted, power)
        if words is not None:
            return b"S" + bytes([power]) + _pack(words)
    return b"F\0" + _pack(array("q", wanted.tobytes()))


def unpack_floats(packed: bytes) -> list[float]:
    kind, power, words = _unpack(packed)
    if kind == b"S":
        scale = 10.0**power
        return [word / scale for word in words]
    if kind != b"F":
        raise PackingError(f"floats expected, found a column of kind {kind!r}")
    return array("d", words.tobytes()).tolist()


def _scaled(wanted: array[float], power: int) -> array[int] | None:
    """The whole numbers that, over 10**power, give exactly these floats; None if there
    are none."""
    scale = 10.0**power
    try:
        for few in (wanted[:4], wanted):  # most powers fail at once
            words = array("q", map(round, map(mul, few, repeat(scale))))
            again = array("d", map(truediv, words, repeat(scale)))
            # by bits: minus zero equals zero, but is not it
            if again.tobytes() != few.tobytes():
                return None
    except (ValueError, OverflowError):  # nan, infinity, beyond 64 bits
        return None
    return words


def _pack(words: array[int]) -> bytes:
    """Subtract neighbours as often as makes the numbers small, then squeeze."""
    tried = [words]
    with suppress(OverflowError):
        for _ in _ORDERS[1:]:
            tried.append(array("q", _differences(tried[-1])))
    bits = [sum(map(int.bit_length, words)) for words in tried]
    order = bits.index(min(bits))
    return bytes([order]) + zlib.compress(_planes(tried[order]), 6)


def _unpack(packed: bytes) -> tuple[bytes, int, array[int]]:
    if len(packed) < 4:
        raise PackingError(f"a packed column of {len(packed)} bytes is too short")
    kind, power, order = packed[:1], packed[1], packed[2]
    if order not in _ORDERS:
        raise PackingError(f"a packed column cannot have been subtracted {order} times")
    try:
        planes = zlib.decompress(packed[3:])
    except zlib.error as error:
        raise PackingError(f"a packed column is damaged: {error}") from error
    if len(planes) % 8:
        raise PackingError(f"{len(planes)} bytes are not whole 64-bit numbers")
    words = _from_planes(planes)
    for _ in range(order):
        words = array("q", accumulate(words))
    return kind, power, words


def _differences(words: array[int]) -> Iterable[int]:
    yield from words[:1]
    yield from map(sub, words[1:], words)


def _planes(words: array[int]) -> bytes:
    """Signs folded into the lowest bit (small numbers of either sign have zero upper
    bytes), then planes."""
    folded = array("Q", [2 * word if word >= 0 else -2 * word - 1 for word in words])
    data = folded.tobytes()
    return b"".join(data[byte::8] for byte in range(8))


def _from_planes(planes: bytes) -> array[int]:
    count = len(planes) // 8
    data = bytearray(len(planes))
    for byte in range(8):
        data[byte::8] = planes[byte * count : (byte + 1) * count]
    folded = array("Q", bytes(data))
    return array("q", [~(word >> 1) if word & 1 else word >> 1 for word in folded])
