"""A microcontroller's own microseconds: where the sled was when, whatever the cable and this machine were busy with."""

from __future__ import annotations

import random

import pytest

from bench.daemon.acquisition import Batch, Instrument
from bench.settings.settings_file import load
from hw.formats.line.bridge import checksum

SPEED = 150.0  # mm/s of the sled
COUNT = 0.005  # mm
OLD = 0.014  # s that a gauge's frame is over when it is told
WORD = "2D4000"  # 12.34 mm, 24 bits


def lines(seed: int, seconds: float) -> list[tuple[bytes, float, float]]:
    """As the board's program sends them: text, the moment it speaks of, its arrival; s of this machine's clock."""
    chance = random.Random(seed)
    out, number, free = [], 0, 0.0
    for step in range(round(seconds * 100)):
        for old, word in ((0.0, ""), (OLD, WORD)) if step % 12 == 5 else ((0.0, ""),):
            now = 50.0 + step / 100 + (0.0004 if word else 0.0)
            at = now - old
            us = round((at + 3000.0) * 1e6) % (1 << 32)
            body = f"BRG,{number % 65536},{us},{round(SPEED * (at - 50.0) / COUNT)},{word}"
            # a USB converter may hold small packets for 16 ms
            free = max(free, now + 0.001 + chance.uniform(0.0, 0.016))
            out.append((f"${body}*{checksum(body)}\r\n".encode(), at, free))
            number += 1
    return out


@pytest.fixture
def heard(tmp_path):
    """What an instrument of this section makes of such lines: (stamp, value) pairs."""

    def hear(section: str, seed: int, more: str = "", block: int = 1) -> list[tuple[float, float]]:
        file = tmp_path / f"{section}.toml"
        file.write_text(
            f'[{section}]\nport = "/dev/none"\nprofile = "bridge"\ngauge = "sync24"\nbaud = 115200\n{more}'
        )
        got: list[tuple[float, float]] = []

        def batch(_: Instrument, batch: Batch) -> None:
            got.extend(zip(batch.stamps, batch.values, strict=True))

        one = Instrument(section, getattr(load(file), section), batch, lambda _: None)  # type: ignore[arg-type]
        one._block(b"\r\n", 49 * 10**9)
        sent = lines(seed, 12.0)
        for first in range(0, len(sent), block):
            together = sent[first : first + block]
            one._block(b"".join(text for text, _, _ in together), round(together[-1][2] * 1e9))
        return got

    return hear


@pytest.mark.parametrize("seed", [1, 2])
def test_where_the_sled_was_is_paired_with_when(heard, seed: int) -> None:
    got = [(at, value) for at, value in heard("travel", seed, f'per_count = "{COUNT} mm"\n') if at > 54.0]
    assert len(got) > 750
    stamps = [at for at, _ in got]
    assert stamps == sorted(set(stamps))
    off = [value - SPEED * (at - 50.0) for at, value in got]
    # the shortest way of a line is 1 ms, which is in all of them alike
    assert max(off) - min(off) < 0.15
    assert abs(sum(off) / len(off)) < 0.3


def test_lines_that_come_two_in_a_block_are_no_worse(heard) -> None:
    """What came before in the same block must not be taken for earlier than any line can be: speeds of USB are fiction."""
    got = [
        (at, value) for at, value in heard("travel", 4, f'per_count = "{COUNT} mm"\n', block=2) if at > 54.0
    ]
    off = [value - SPEED * (at - 50.0) for at, value in got]
    assert max(off) - min(off) < 0.4


@pytest.mark.parametrize("seed", [1, 2])
def test_a_gauges_word_is_of_when_it_was_read(heard, seed: int) -> None:
    got = [(at, value) for at, value in heard("indicator", seed) if at > 54.0]
    moments = [at for text, at, _ in lines(seed, 12.0) if WORD.encode() in text and at > 54.0]
    assert {value for _, value in got} == {12.34}
    assert [at for at, _ in got] == pytest.approx(moments, abs=0.003)


def test_a_known_lateness_is_taken_off_besides(heard) -> None:
    plain = heard("indicator", 3)
    late = heard("indicator", 3, 'late = "20 ms"\n')
    assert [at for at, _ in late] == pytest.approx([at - 0.02 for at, _ in plain], abs=1e-6)
