"""The microcontroller's program, compiled for a board in software and read by the decoder of its line.

Timings are those of public notes: 24-bit indicators 0.37 ms a bit and a longer gap after each nibble, a word every
0.12 s; 48-bit scales and 28-bit ones 13 us a bit; 52-bit gauges first clock 0.6 to 200 ms after the request. The bits
of a value are written out by the encoders of hw.virtual, which the decoders' own tests hold to published examples.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from encoders import make_encoder
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.formats import make_decoder
from hw.formats.line.bridge import checksum
from hw.reading import Record

HERE = Path(__file__).parent
SKETCH = HERE.parents[2] / "hw" / "bridge_board" / "bridge_board.ino"
A, B, CLOCK, DATA, REQUEST = 2, 3, 4, 5, 6
COMPILER = shutil.which("c++") or shutil.which("g++") or shutil.which("clang++")

pytestmark = pytest.mark.skipif(COMPILER is None, reason="no C++ compiler here to build the board's program")

Event = tuple[int, int, int]  # us, pin, level


class Board:
    """The program compiled with its numbers as given; `run` is one power-on."""

    def __init__(self, folder: Path, **numbers: int) -> None:
        self.program = folder / ("board" + "".join(f"-{name}{value}" for name, value in numbers.items()))
        given = [f"-D{name}={value}" for name, value in numbers.items()]
        strict = ["-O1", "-Wall", "-Wextra", "-Werror", "-include", str(HERE / "board.h")]
        assert COMPILER is not None
        subprocess.run(
            [
                *(COMPILER, *strict, *given, "-x", "c++", str(SKETCH)),
                *(str(HERE / "board.cpp"), "-o", str(self.program)),
            ],
            check=True,
            timeout=100,
        )

    def run(
        self, events: list[Event], end: int, *, answer: Sequence[Event] = (), first: int = 0, loop: int = 50
    ) -> tuple[bytes, list[str]]:
        """What it wrote, and what it did to the request pin."""
        text = "".join(
            f"{at} {pin} {level}\n" for at, pin, level in sorted(events, key=lambda event: event[0])
        )
        text += "".join(f"R {at} {pin} {level}\n" for at, pin, level in answer)
        done = subprocess.run(
            [str(self.program), str(first), str(end), str(loop)],
            input=text.encode(),
            capture_output=True,
            check=True,
            timeout=60,
        )
        return done.stdout, done.stderr.decode().splitlines()


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("board")


@pytest.fixture(scope="session")
def quick(folder: Path) -> Board:
    return Board(folder, GAUGE_BIT_ON_RISING=0)


@pytest.fixture(scope="session")
def asking(folder: Path) -> Board:
    """A 52-bit gauge on its pull-ups."""
    return Board(folder, GAUGE_INVERTED=0, GAUGE_BIT_ON_RISING=0, GAUGE_REQUEST=REQUEST)


@pytest.fixture(scope="session")
def board(folder: Path) -> Board:
    """As it stands in the file: a scale, and a 24-bit gauge behind one transistor a line."""
    return Board(folder)


def read(out: bytes, gauge: str) -> list[Record]:
    decoder = make_decoder("line", {"profile": "bridge", "gauge": gauge})
    return decoder.feed(out) + decoder.finish()


def gauge_said(out: bytes, gauge: str) -> list[Record]:
    """Lines that carry more than where the scale is."""
    return [one for one in read(out, gauge) if one.value is not None or one.status or one.fault]


def frame(
    bits: str, at: float, *, idle: int, inverted: bool, bit: float, low: float, nibble: float = 0.0
) -> list[Event]:
    """One frame: data, then a clock pulse away from idle and back; in the middle of a bit's time."""
    out = []
    for place, one in enumerate(bits):
        out.append((round(at), DATA, int(one) ^ inverted))
        out.append((round(at + (bit - low) / 2), CLOCK, (1 - idle) ^ inverted))
        out.append((round(at + (bit + low) / 2), CLOCK, idle ^ inverted))
        at += bit + (nibble if place % 4 == 3 else 0.0)
    return out


def indicator(values: list[float], start: int = 20_000, cut: int = 0) -> list[Event]:
    """A 24-bit indicator's words, every 0.12 s; cut: so many bits of the first are gone by already."""
    encode = make_encoder("sync24", {})
    events = [(-1, CLOCK, 0), (-1, DATA, 0)]
    for number, value in enumerate(values):
        bits = encode(value).decode().strip()[cut if number == 0 else 0 :]
        events += frame(
            bits, start + number * 120_000, idle=1, inverted=True, bit=370.0, low=60.0, nibble=385.0
        )
    return events


def walk(steps: list[int], start: int = 100, every: int = 300) -> Iterator[Event]:
    """The two waves of a scale that goes one count up or down at a time; A leads B when it counts up."""
    order = [(0, 0), (1, 0), (1, 1), (0, 1)]
    yield (-1, A, 0)
    yield (-1, B, 0)
    at = 0
    for number, step in enumerate(steps):
        before, at = order[at % 4], at + step
        after = order[at % 4]
        pin = A if before[0] != after[0] else B
        yield (start + number * every, pin, after[0] if pin == A else after[1])


def test_the_line_in_its_own_words_is_right() -> None:
    """The example at the head of the file is a frame, and says the published 12.34 mm."""
    (example,) = re.findall(r"\$(BRG,[^*]*)\*([0-9A-F]{2})", SKETCH.read_text())
    assert checksum(example[0]) == example[1]
    (record,) = read(f"${example[0]}*{example[1]}\r\n".encode(), "sync24")
    assert (record.value, record.counts) == (12.34, -20480)


def test_gauge_and_scale_by_one_clock(board: Board) -> None:
    values = [12.34, -0.99, 0.0, 7.01]
    out, _ = board.run([*indicator(values), *walk([1] * 1500 + [-1] * 500)], 620_000)
    records = read(out, "sync24")
    assert not any(one.fault or "gap" in one.flags for one in records)
    said = [one for one in records if one.value is not None]
    assert [one.value for one in said] == values
    for number, one in enumerate(said):
        first = 20_000 + number * 120_000 + 215  # the first clock's return
        assert one.device_us == first
        assert one.counts == sum(1 for at, pin, _ in walk([1] * 1500) if pin != 0 and 0 <= at <= first)
    assert records[-1].counts == 1000
    moments = [one.device_us for one in records if one.device_us is not None and one.value is None]
    assert max(b - a for a, b in pairwise(moments) if a is not None and b is not None) < 12_000


@pytest.mark.parametrize("cut", [1, 11, 23])
def test_a_frame_that_was_half_over_is_not_told(board: Board, cut: int) -> None:
    out, _ = board.run(indicator([1.0, 2.0, 3.0], start=0, cut=cut), 400_000)
    assert [one.value for one in gauge_said(out, "sync24")] == [2.0, 3.0]


@pytest.mark.parametrize("bits", [20, 23, 25, 28, 63, 64, 65, 90])
def test_a_frame_of_another_length_is_refused_by_the_computer(board: Board, bits: int) -> None:
    word = make_encoder("sync24", {})(1.25).decode().strip()
    odd = (word * 4)[:bits]
    events = [(-1, CLOCK, 0)]
    events += frame(odd, 20_000, idle=1, inverted=True, bit=370.0, low=60.0)
    events += frame(word, 140_000, idle=1, inverted=True, bit=370.0, low=60.0)
    out, _ = board.run(events, 250_000)
    first, second = gauge_said(out, "sync24")
    assert first.value is None
    assert first.fault
    assert second.value == 1.25


@given(st.lists(st.integers(-9999, 9999), min_size=1, max_size=4), st.integers(0, 2**32 - 1))
@settings(deadline=None)
def test_whatever_is_shown_is_told_whenever_the_clock_turns_over(
    board: Board, counts: list[int], first: int
) -> None:
    values = [count / 100 for count in counts]
    out, _ = board.run(indicator(values), 20_000 + 120_000 * len(values) + 20_000, first=first)
    assert [one.value for one in gauge_said(out, "sync24")] == values


@given(st.lists(st.sampled_from([1, -1]), min_size=1, max_size=300))
@settings(deadline=None)
def test_every_edge_counts(board: Board, steps: list[int]) -> None:
    out, _ = board.run(list(walk(steps, every=25)), 40_000)
    assert read(out, "sync24")[-1].counts == sum(steps)


def test_after_a_missed_edge_it_is_silent_and_then_goes_on(board: Board) -> None:
    """Silence of a second breaks the pass that was being made; nobody is told a wrong place meanwhile."""
    events = [*walk([1] * 40), (50_000, A + 64, 1), (50_000, B, 1)]  # of A's edge nothing was noticed
    out, _ = board.run(events, 1_500_000)
    moments = [one.device_us for one in read(out, "sync24") if one.device_us is not None]
    assert all(at is not None and not 50_000 < at < 1_050_000 for at in moments)
    assert any(at is not None and at > 1_050_000 for at in moments)


@pytest.mark.ci
@pytest.mark.parametrize(
    ("gauge", "mm", "bit"),
    # bits of 13 us in both, public articles and a forum's summary of scale protocols
    [("sync48", 25.4, 13.0), ("sync48", -1.27, 13.0), ("bcd28", 12.34, 13.0), ("bcd28", -0.5, 13.0)],
)
def test_the_quick_ones(quick: Board, gauge: str, mm: float, bit: float) -> None:
    word = make_encoder(gauge, {})(mm).decode().strip()
    events = [(-1, CLOCK, 1)]
    for number in range(3):
        events += frame(word, 20_000 + number * 25_000, idle=0, inverted=True, bit=bit, low=6.0, nibble=47.0)
    out, _ = quick.run(events, 120_000, loop=7)
    said = gauge_said(out, gauge)
    assert [one.value for one in said] == pytest.approx([mm] * 3, abs=1e-3)


@pytest.mark.ci
@pytest.mark.parametrize("wait", [600, 50_000, 200_000])
def test_a_gauge_that_wants_to_be_asked(asking: Board, wait: int) -> None:
    word = make_encoder("sync52", {})(-12.345).decode().strip()
    answer = frame(word, wait, idle=1, inverted=False, bit=300.0, low=100.0)
    out, did = asking.run([(-1, CLOCK, 1), (-1, DATA, 1)], 1_200_000, answer=answer)
    said = gauge_said(out, "sync52")
    assert len(said) >= 2
    assert {one.value for one in said} == {-12.345}
    assert not any(line.startswith("HIGH") for line in did)  # never driven up
    moments = [(line.split()[0], int(line.split()[1])) for line in did]
    for (what, at), (then, later) in pairwise(moments):
        if (what, then) == ("low", "free"):
            # held until the first clock, let go before the 52nd
            assert at + wait <= later < at + wait + 51 * 300


@pytest.mark.ci
def test_a_gauge_that_does_not_answer_is_let_go_and_asked_again(asking: Board) -> None:
    out, did = asking.run([(-1, CLOCK, 1)], 2_000_000)
    assert gauge_said(out, "sync52") == []
    assert sum(line.startswith("low") for line in did) >= 3
    lows = [int(line.split()[1]) for line in did if line.startswith("low")]
    frees = [int(line.split()[1]) for line in did if line.startswith("free")]
    assert all(299_000 < free - low < 302_000 for low, free in zip(lows, frees, strict=False))
