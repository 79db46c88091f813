"""Rubbish at the port: nothing raised, nothing piled up, the second good frame after it is read."""

from __future__ import annotations

import random

import msgspec
import pytest
from encoders import make_encoder
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import make_decoder
from hw.formats.shared.record_json import to_json
from hw.reading import Decoder

steady = settings(max_examples=4 * settings().max_examples)

CASES: list[tuple[str, dict[str, object]]] = [
    ("line", {}),
    ("line", {"range_mm": [-50, 50], "at_open": True}),
    ("line", {"decimals": 3}),
    ("line", {"parity7": "even", "at_open": True}),
    ("line", {"profile": "code_channel_item"}),
    ("line", {"profile": "mux"}),
    ("line", {"profile": "mode_letter"}),
    ("line", {"profile": "bridge_counts"}),
    ("line", {"profile": "bridge_counts", "parity7": "odd"}),
    ("line", {"profile": "bridge"}),
    ("line", {"profile": "bridge", "gauge": "sync24"}),
    ("line", {"profile": "bridge", "gauge": "sync52"}),
    ("sync52", {}),
    ("sync24", {}),
    ("sync24", {"invert": True}),
    ("sync48", {}),
    ("bcd28", {}),
    ("quad_x4", {}),
    ("wedge", {}),
    ("modbus_rtu", {}),
]
LIMITS = {"line": 65, "quad_x4": 65, "wedge": 1024, "modbus_rtu": 1024}


def held(decoder: Decoder) -> int:
    """Bytes that a decoder keeps: unfinished input, and what it has learnt."""
    total = 0
    for value in vars(decoder).values():
        if isinstance(value, bytes) and len(value) != 256:  # 256: the table of parity
            total += len(value)
        elif isinstance(value, dict):
            assert len(value) <= 64
            assert all(len(key) <= 64 for key in value)
    return total


def feed(name: str, decoder: Decoder, data: bytes) -> list[msgspec.Struct]:
    """Feed, and look at whatever comes out."""
    before = decoder.rejects
    records = decoder.feed(data)
    for record in records:
        said = (record.value is not None) + (record.status is not None) + (record.fault is not None)
        assert said == 1 or record.counts is not None
        assert len(record.raw) <= LIMITS.get(name, 256)
        assert 0 <= record.behind < len(data)
        msgspec.json.encode(to_json(record, "x", 0.0))
    assert decoder.rejects - before == sum(record.fault is not None for record in records)
    assert held(decoder) <= 3 * LIMITS.get(name, 256)
    return list(records)


def mutated(frame: bytes, random_: random.Random) -> bytes:
    """A frame with one to three faults: bits flipped, bytes lost, doubled, put in, or an end cut off."""
    out = bytearray(frame)
    for _ in range(random_.randint(1, 3)):
        place = random_.randrange(len(out) + 1)
        match random_.randrange(6):
            case 0 if place < len(out):
                out[place] ^= 1 << random_.randrange(8)
            case 1 if place < len(out):
                del out[place]
            case 2 if place < len(out):
                out.insert(place, out[place])
            case 3:
                out.insert(place, random_.randrange(256))
            case 4:
                del out[place:]
            case _:
                out[place:place] = random_.randbytes(random_.choice((2, 5, 80)))
    return bytes(out)


def recovers(name: str, options: dict[str, object], decoder: Decoder, rubbish: bytes) -> None:
    """After any rubbish, of two good frames the second is read."""
    good = make_encoder(name, options)
    if name == "quad_x4":
        run = good(0.05)
        feed(name, decoder, rubbish)
        assert feed(name, decoder, run + run)[-1].counts == 10  # type: ignore[attr-defined]
        return
    frames = good(1.0) + good(2.5)
    feed(name, decoder, rubbish)
    records = feed(name, decoder, frames)
    last = records[-1]
    wanted = 500 if options.get("profile") == "bridge_counts" else pytest.approx(2.5, abs=1e-3)
    found = last.counts if options.get("profile") == "bridge_counts" else last.value  # type: ignore[attr-defined]
    assert found == wanted


@steady
@given(st.sampled_from(CASES), st.lists(st.binary(max_size=90), max_size=6))
def test_random_bytes(case: tuple[str, dict[str, object]], blocks: list[bytes]) -> None:
    name, options = case
    decoder = make_decoder(name, options)
    for block in blocks:
        feed(name, decoder, block)
    recovers(name, options, decoder, b"")
    for record in decoder.finish():
        assert record.behind == 0


@steady
@given(st.sampled_from(CASES), st.integers(0, 2**32), st.floats(-40, 40))
def test_mutated_frames(case: tuple[str, dict[str, object]], seed: int, mm: float) -> None:
    name, options = case
    decoder = make_decoder(name, options)
    encode = make_encoder(name, options)
    if options.get("at_open"):
        decoder.feed(b"\n")
    for step in range(3):
        recovers(name, options, decoder, mutated(encode(mm + step), random.Random(seed + step)))


@pytest.mark.ci
@steady
@given(st.sampled_from(CASES), st.text(max_size=80))
def test_frames_of_any_text(case: tuple[str, dict[str, object]], text: str) -> None:
    decoder = make_decoder(*case)
    decoder.feed(text.encode())
    decoder.finish()


def test_a_flood_without_an_end_is_told_once_and_not_kept() -> None:
    for name, options in CASES:
        decoder = make_decoder(name, options)
        for _ in range(300):
            feed(name, decoder, b"\x80" * 50)
        assert decoder.rejects == (0 if name == "quad_x4" else 1)  # a run of states may be of any length
        recovers(name, options, decoder, b"")


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=str)
def test_a_million_bytes_and_a_million_frames(case: tuple[str, dict[str, object]]) -> None:
    """Of each kind a million over all cases; fixed seed."""
    name, options = case
    share = 1_000_000 // len(CASES)
    random_ = random.Random(20)
    decoder = make_decoder(name, options)
    left = share
    while left > 0:
        size = random_.randint(1, 200)
        feed(name, decoder, random_.randbytes(size))
        left -= size
    recovers(name, options, decoder, b"")
    encode = make_encoder(name, options)
    for count in range(share):
        rubbish = mutated(encode(random_.uniform(-0.5, 0.5)), random_)
        if count % 10:
            feed(name, decoder, rubbish or b"\n")
        else:
            recovers(name, options, decoder, rubbish)
