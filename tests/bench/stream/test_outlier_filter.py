"""The gate on streams whose truth is known: real encoders, one bit in a frame flipped, the decoders of the house.

A hand's push follows the minimum-jerk path (Flash and Hogan, J. Neurosci. 5 (1985) 1688, eq. 3:
s = L (10 x^3 - 15 x^4 + 6 x^5)), which shares nothing with the gate's lines and parabolas.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Iterator
from typing import NamedTuple

import pytest
from encoders import make_encoder
from everyday import ci, everyday
from hypothesis import given
from hypothesis import strategies as st

from bench.stream.outlier_filter import OutlierFilter
from hw.formats import make_decoder


def hand(random: random.Random, rate: float) -> Iterator[float]:
    """A sled pushed, left, and drawn back, for ever; mm at each reading."""
    while True:
        length, speed = random.uniform(150, 400), random.uniform(40, 200)
        count = int(1.875 * length / speed * rate)  # the path's fastest is 1.875 times its mean speed
        for start, end in ((0.0, length), (length, 0.0)):
            for _ in range(int(random.uniform(0.5, 1.2) * rate)):
                yield start
            shake = random.uniform(0, 6)
            for i in range(count):
                x = i / count
                x += 0.01 * math.sin(shake + 7 * x) * math.sin(math.pi * x) ** 2
                yield start + (end - start) * x**3 * (10 - 15 * x + 6 * x * x)


class Outcome(NamedTuple):
    frames: int
    flipped: int
    parsed: int  # of the flipped ones, with another value
    escaped: int  # passed on more than 8 counts off
    refused_good: int


def spoiled_stream(
    frames: int,
    *,
    name: str = "sync24",
    options: dict[str, object] | None = None,
    rate: float = 8.4,
    count: float = 0.01,
    noise: float = 0.0,
    travel: bool = False,
    share: float = 0.01,
    seed: int = 1,
) -> Outcome:
    draw = random.Random(seed)
    encode, decode, gate = make_encoder(name, options), make_decoder(name), OutlierFilter(count)
    path, slope = hand(draw, rate), draw.uniform(-2e-3, 2e-3)
    flipped = parsed = escaped = good = 0
    truth: dict[float, float] = {}
    for place in range(frames):
        s = next(path)
        frame = encode(s if travel else 2.5 + slope * s + draw.gauss(0, noise))
        (clean,) = decode.feed(frame)
        assert clean.value is not None
        if draw.random() < share:
            flipped += 1
            where, bit = draw.randrange(len(frame) - 2), 1 << draw.randrange(8)
            frame = (
                frame[:where] + bytes([frame[where] ^ (bit if name == "line" else 1)]) + frame[where + 1 :]
            )
        stamp = round((place + draw.uniform(0, 0.3)) / rate, 6)
        records = [record for record in decode.feed(frame) if record.value is not None]
        values = [record.value for record in records if record.value is not None]
        parsed += any(abs(value - clean.value) > 1e-9 for value in values)
        truth[stamp] = clean.value
        passed = gate.pass_on([stamp] * len(values), values)
        escaped += sum(
            abs(value - truth[at]) > 8.5 * count
            for at, value in zip(passed.stamps, passed.values, strict=True)
        )
        good += sum(abs(value - truth[at]) < 1e-9 for at, value in passed.rejected)
    return Outcome(frames, flipped, parsed, escaped, good)


@pytest.mark.parametrize(
    ("kept", "escapes"),
    [
        ({"noise": 0.003}, 0),
        ci(({"name": "sync48", "rate": 40.0, "count": 25.4 / 20480, "noise": 0.0008}, 2)),
        ci(
            (
                {
                    "name": "line",
                    "rate": 100.0,
                    "count": 0.001,
                    "noise": 0.0008,
                    "options": {"resolution": "0.001 mm"},
                },
                1,
            )
        ),
        ci(({"name": "line", "rate": 100.0, "travel": True}, 2)),
        ci(({"rate": 10.0, "travel": True}, 4)),
    ],
    ids=["24 bits", "48 bits", "lines", "travel in lines", "travel in 24 bits"],
)
def test_flipped_bits_do_not_pass(kept: dict, escapes: int) -> None:
    outcome = spoiled_stream(8_000, share=0.02, **kept)
    assert outcome.flipped > 120
    assert outcome.escaped <= escapes, outcome
    assert outcome.refused_good <= 1, outcome


def test_most_flips_of_a_24_bit_frame_still_parse() -> None:
    """Two of 24 bits must be 0: 22 of 24 flips, 92 %, leave a frame that parses. So the test above has work."""
    outcome = spoiled_stream(2_500, share=0.1)
    assert outcome.parsed / outcome.flipped == pytest.approx(22 / 24, abs=0.04)


@pytest.mark.parametrize("seed", [1, ci(2)])
@pytest.mark.parametrize(
    ("name", "count"),
    [
        pytest.param("sync52", 0.001, id="52 bits", marks=pytest.mark.ci),
        pytest.param("bcd28", 0.01, id="28 bits"),
    ],
)
def test_ten_counts_off_is_seen_amid_noise(name: str, count: float, seed: int) -> None:
    """Decimal digits differ by ten counts where their neighbour digit has one bit flipped: hardly more than noise."""
    found = spoiled_stream(4_000, name=name, rate=10.0, count=count, noise=0.8 * count, share=0.03, seed=seed)
    assert found.escaped <= 1 and found.refused_good <= 1, found


@pytest.mark.slow
def test_a_million_frames(figure) -> None:
    outcome = spoiled_stream(1_000_000, noise=0.003)
    figure("escapes above 8 counts in 1e6 frames", outcome.escaped, 5, good=outcome.escaped <= 5)
    share = outcome.refused_good / outcome.frames
    figure("good frames refused", share, 1e-4, good=share <= 1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_no_slope_is_off_by_more_than_its_uncertainty(seed: int, figure) -> None:
    """Two hundred pushes of a 24-bit indicator, one frame in a hundred spoiled, fitted with and without the spoiling."""
    from bench.geometry.line_fit import fit_sweep

    draw = random.Random(seed)
    encode, decode = make_encoder("sync24"), make_decoder("sync24")
    worst = 0.0
    gate, at = OutlierFilter(0.01), 0.0
    for _ in range(200):
        slope = draw.uniform(-1e-3, 1e-3)
        clean, spoiled = ([], []), ([], [])
        for step in range(-8, 60):
            s = max(0.0, 5.0 * step)
            at += 0.119
            frame = encode(2.5 + slope * s + draw.gauss(0, 0.004))
            value = decode.feed(frame)[0].value
            clean[0].append(s), clean[1].append(value)
            if draw.random() < 0.01:
                bit = draw.randrange(24)
                frame = frame[:bit] + bytes([frame[bit] ^ 1]) + frame[bit + 1 :]
            records = [r for r in decode.feed(frame) if r.value is not None]
            passed = gate.pass_on([at] * len(records), [r.value for r in records], [s] * len(records))
            spoiled[0].extend(passed.tags), spoiled[1].extend(passed.values)
        good = fit_sweep(clean[0][8:], clean[1][8:], resolution=0.01)
        keep = [i for i, s in enumerate(spoiled[0]) if s > 0]
        fit = fit_sweep([spoiled[0][i] for i in keep], [spoiled[1][i] for i in keep], resolution=0.01)
        worst = max(worst, float(abs(fit.slope - good.slope) / good.standard_uncertainty))
    figure("slope off, in standard uncertainties", worst, 1.0, good=worst <= 1.0)


@pytest.mark.slow
@pytest.mark.parametrize("rate", [5.0, 10.0])
def test_no_slope_is_off_by_what_passes_of_a_slow_travel(rate: float, figure) -> None:
    """Two hundred pushes over a 24-bit scale, one frame in a hundred spoiled: what lies between its neighbours may pass."""
    from bench.geometry.line_fit import fit_sweep

    draw, worst, at = random.Random(7), 0.0, 0
    encode, decode, gate = make_encoder("sync24"), make_decoder("sync24"), OutlierFilter(0.01)
    for _ in range(200):
        slope, clean, spoiled = draw.uniform(-2e-3, 2e-3), [], []
        for s in push_and_rest(rate, draw.uniform(200, 400), draw.uniform(4.0, 10.0)):
            reading, frame, at = round(2.5 + slope * s + draw.gauss(0, 8e-4), 3), encode(s), at + 1
            clean.append((s, reading))
            bit = draw.randrange(2400)
            if bit < 24:
                frame = frame[:bit] + bytes([frame[bit] ^ 1]) + frame[bit + 1 :]
            came = [record.value for record in decode.feed(frame) if record.value is not None]
            passed = gate.pass_on([at / rate] * len(came), came, [reading] * len(came))
            spoiled += zip(passed.values, passed.tags, strict=True)
        good, fit = (
            fit_sweep(*zip(*[pair for pair in pairs if pair[0] > 1], strict=True), resolution=0.001)
            for pairs in (clean, spoiled)
        )
        worst = max(worst, float(abs(fit.slope - good.slope) / good.standard_uncertainty))
    figure(f"slope off by travel at {rate:g}/s, in standard uncertainties", worst, 1.0, good=worst <= 1.0)


def stream(values: list[float], rate: float = 10.0) -> tuple[list[float], list[float]]:
    return [place / rate for place in range(len(values))], values


def test_nothing_is_altered_and_order_is_kept() -> None:
    draw = random.Random(3)
    values = [2.5 + draw.gauss(0, 0.002) + (5.0 if draw.random() < 0.02 else 0.0) for _ in range(2000)]
    gate = OutlierFilter(0.001)
    passed, held = [], []
    for start in range(0, 2000, 7):
        stamps, chunk = stream(values)
        out = gate.pass_on(
            stamps[start : start + 7], chunk[start : start + 7], list(range(2000))[start : start + 7]
        )
        passed += list(zip(out.stamps, out.values, out.tags, strict=True))
        held += out.rejected
    assert [tag for *_, tag in passed] == sorted(tag for *_, tag in passed)
    assert all(values[tag] == value and tag / 10.0 == stamp for stamp, value, tag in passed)  # type: ignore[operator]
    assert len(passed) + len(held) + gate.waiting == 2000
    assert gate.rejections == len(held) > 20


def test_a_step_is_passed_on_once_it_stays() -> None:
    """The zero button, or the plunger run up an edge: all of it comes through, a moment late."""
    gate = OutlierFilter(0.001)
    stamps, values = stream([2.5, 2.501, 2.5] * 20 + [0.0, 0.001, 0.0] * 5)
    out = gate.pass_on(stamps, values)
    assert out.values == values and out.rejected == []
    gate = OutlierFilter(0.001)
    gate.pass_on(stamps[:60], values[:60])
    assert gate.pass_on(stamps[60:61], values[60:61]).values == []
    assert gate.waiting == 1
    gate.pass_on(stamps[61:62], values[61:62])
    assert gate.pass_on(stamps[62:63], values[62:63]).values == [0.0, 0.001, 0.0]


def test_the_same_bit_flipped_twice_in_a_slow_stream() -> None:
    """Two frames that agree, eight metres away: refused; a plunger lifted far off and left there is not."""
    gate = OutlierFilter(0.01)
    values = [2.06, 2.07, 2.06] * 10
    out = gate.pass_on(*stream([*values, 8002.06, 8002.07, *values], 3.0))
    assert out.values == [*values, *values] and len(out.rejected) == 2
    gate = OutlierFilter(0.01)
    far = [*values, 30.0, 30.01, 30.0, 30.01]
    assert gate.pass_on(*stream(far, 3.0)).values == far


def test_readings_that_come_one_by_one_pass_at_once() -> None:
    """Marks by the instrument's own button: every reading differs from the last, none can wait for the next."""
    gate = OutlierFilter(0.001)
    for place in range(30):
        value = round(2.5 + 0.08 * (-1) ** place, 3)
        assert gate.pass_on([3.1 * place], [value]).values == [value]
    assert gate.rejections == 0


def test_a_coarser_display_than_was_said_is_found_out() -> None:
    """Settings say 0.001 mm, the display flickers by 0.01: that is no fault of the wire."""
    draw = random.Random(4)
    stamps, values = stream([round(2.505 + draw.uniform(-0.008, 0.008), 2) for _ in range(3000)])
    gate = OutlierFilter(0.001)
    out = gate.pass_on(stamps, values)
    assert len(out.rejected) <= 2


def test_a_stream_that_turns_noisy_is_not_refused_for_ever() -> None:
    draw = random.Random(5)
    stamps, values = stream(
        [round(draw.gauss(2.5, 0.001 if k < 500 else 0.05), 3) for k in range(1500)], 50.0
    )
    out = OutlierFilter(0.001).pass_on(stamps, values)
    assert len(out.rejected) < 40


@pytest.mark.parametrize("rate", [10.0, 100.0])
@pytest.mark.parametrize("stray", [219.823, 21900219.78])
def test_one_value_off_the_count_costs_no_later_reading(rate: float, stray: float) -> None:
    """Two torn lines may join to a number of any size: the count of the display is not made smaller by it, which
    would take every flicker at rest for a fault."""
    draw = random.Random(6)
    push = [round(k / rate * 100.0 + draw.uniform(-0.1, 0.1), 2) for k in range(int(2.2 * rate))]
    rest = [219.79 if draw.random() < 0.9 else 219.78 for _ in range(2000)]
    stamps, values = stream([*push, *rest[:50], stray, *rest[50:]], rate)
    held = OutlierFilter().pass_on(stamps, values).rejected
    assert len(held) <= 3


def test_a_dropped_port_forgets() -> None:
    gate = OutlierFilter(0.001)
    stamps, values = stream([2.5, 2.501] * 20 + [9.0])
    gate.pass_on(stamps, values)
    assert gate.waiting == 1
    gate.restart()
    assert gate.waiting == 0 and gate.rejections == 1
    assert gate.pass_on([100.0], [7.0]).values == [7.0]


@given(
    st.lists(
        st.tuples(st.floats(-0.5, 3.0), st.floats(-1e6, 1e6, allow_nan=False), st.integers(1, 5)),
        max_size=60,
    ),
    st.floats(0, 1),
)
def test_whatever_comes_is_passed_held_or_waiting(readings: list, count: float) -> None:
    gate, at, came, went = OutlierFilter(count), 0.0, 0, 0
    for gap, value, size in readings:
        stamps = [at := at + gap / size for _ in range(size)]
        out = gate.pass_on(stamps, [value] * size)
        came += size
        went += len(out.values)
    assert came == went + gate.rejections + gate.waiting
    assert gate.waiting <= 5


@pytest.mark.parametrize("seed", everyday(range(3), 3))
def test_a_busy_machine_refuses_nothing(seed: int) -> None:
    """Blocks late by several readings' time, then many at once: the instrument went on evenly all the while."""
    draw = random.Random(seed)
    gate, passed, stamp = OutlierFilter(0.01), 0, 0.0
    path = hand(draw, 100.0)
    for n in range(4000):
        late = draw.uniform(0.02, 0.05) if draw.random() < 0.02 else draw.uniform(0.0, 0.01)
        stamp = max(stamp + 1e-4, n * 0.01 + late)
        out = gate.pass_on([stamp], [round(next(path), 2)])
        assert not out.rejected
        passed += len(out.values)
    assert passed == 4000 - gate.waiting


@pytest.mark.parametrize("rate", [10.0, ci(20.0), ci(100.0)])
def test_late_bursts_are_no_wrong_values(rate: float) -> None:
    """A slow machine hands on what it read 50 to 400 ms late, reading after reading at once."""
    draw = random.Random(5)
    gate, path, readings = OutlierFilter(0.01), hand(draw, rate), 4000
    held_until, stamp = 0.0, 0.0
    for n in range(readings):
        now = n / rate
        if now > held_until and n > 100 and draw.random() < 0.15:
            held_until = now + draw.uniform(0.05, 0.4)
        stamp = max(stamp + 3e-4, now, held_until)
        gate.pass_on([stamp], [round(next(path), 2)])
    assert gate.rejections <= 3  # a filter that takes late for lost rejects thirty


def settled(last: list[float], rate: float = 10.0) -> tuple[list[float], list[float], OutlierFilter]:
    """Passed on and refused of readings after 30 at rest, once nothing has come for five of their intervals."""
    gate = OutlierFilter(0.001)
    stamps, values = stream([2.5, 2.501, 2.5] * 10 + last, rate)
    out = gate.pass_on(stamps, values)
    waiting = gate.waiting
    assert gate.settle(stamps[-1] + 1.0 / rate).values == [] and gate.waiting == waiting
    end = gate.settle(stamps[-1] + max(6.0 / rate, 0.7))
    assert gate.waiting == 0 and gate.rejections == len(out.rejected) + len(end.rejected)
    return out.values[30:] + end.values, [value for _, value in out.rejected + end.rejected], gate


@pytest.mark.parametrize("rate", [3.0, 10.0, 100.0])
def test_what_waits_when_nothing_more_comes(rate: float) -> None:
    assert settled([2.58], rate)[:2] == ([], [2.58])
    assert settled([2.58, 2.581], rate)[:2] == ([2.58, 2.581], [])
    assert settled([2.507], rate)[:2] == ([2.507], [])
    assert settled([2.58, 2.66], rate)[:2] == ([], [2.58, 2.66])
    assert settled([802.5, 802.501], rate)[:2] == ([], [802.5, 802.501])  # the same bit may flip twice
    gate = settled([2.58, 2.581], rate)[2]
    at = 31 / rate + 0.3
    assert gate.pass_on([at, at + 1 / rate], [2.58, 2.58]).values == [2.58, 2.58]


def test_a_gap_settles_what_waited() -> None:
    gate = OutlierFilter(0.001)
    gate.pass_on(*stream([2.5, 2.501, 2.5] * 10 + [2.58, 2.581]))
    assert gate.waiting == 2
    assert gate.pass_on([10.0], [2.58]).values == [2.58, 2.581, 2.58]


def test_a_reading_is_judged_by_both_sides() -> None:
    """Ten counts off amid an even change of speed: no one-sided line tells it, its neighbours do."""
    gate = OutlierFilter(0.001)
    true = [2.5] * 30 + [round(2.5 + 0.0045 * k * k, 3) for k in range(12)]
    came = [value + (0.01 if place == 36 else 0.0) for place, value in enumerate(true)]
    out = gate.pass_on(*stream(came))
    end = gate.settle(10.0)
    assert out.values + end.values == true[:36] + true[37:]
    assert [value for _, value in out.rejected] == [came[36]]


@pytest.mark.parametrize(("readings", "most"), [(6_000, 1), ci((20_000, 4))])
def test_readings_lost_on_the_way_cost_no_others(readings: int, most: int) -> None:
    """A line end flipped loses two readings of a moving sled; stamps say so, and those after them are on the path."""
    draw = random.Random(11)
    gate, refused, at = OutlierFilter(0.001), 0, 0
    for k, s in zip(range(readings), hand(draw, 10.0), strict=False):
        at += 1
        if draw.random() < 0.02:
            at = -1  # this one and the next
        if at > 0:
            value = round(2.5 - 1.5e-3 * s + draw.gauss(0, 0.0008), 3)
            refused += len(gate.pass_on([(k + draw.uniform(0, 0.3)) / 10.0], [value]).rejected)
    assert refused <= most


@pytest.mark.parametrize("rate", [5.0, ci(10.0), 30.0])
def test_a_push_that_begins_and_ends_at_once_is_kept(rate: float) -> None:
    """A slow instrument sees a hand's whole beginning between two readings: a corner that no curve goes round."""
    draw = random.Random(12)
    gate, passed, came = OutlierFilter(0.001), 0, 0
    for _ in range(60):
        step, corner = draw.uniform(-60, 60), draw.random()
        push = [0.0] * 8 + [step * (corner + k) for k in range(8)] + [step * (corner + 7.4)] * 8
        for mm in push:
            out = gate.pass_on([came / rate], [round(2.5 + 0.001 * (mm + draw.gauss(0, 0.7)), 3)])
            passed, came = passed + len(out.values), came + 1
    assert gate.rejections <= 3
    assert passed + gate.rejections + gate.waiting == came


def push_and_rest(rate: float, length: float = 300.0, seconds: float = 2.0) -> list[float]:
    """Hundredths of mm of a scale: at rest, pushed, at rest, drawn back, at rest."""
    count = int(seconds * rate)
    x = [k / count for k in range(count)]
    push = [length * k**3 * (10 - 15 * k + 6 * k * k) for k in x]
    path = [0.0] * 9 + push + [length] * 9 + push[::-1] + [0.0] * 9
    return [round(value, 2) for value in path]


@pytest.mark.parametrize("rate", [5.0, ci(10.0), ci(20.0)])
def test_of_slow_travel_nothing_beyond_its_neighbours_passes(rate: float) -> None:
    """Each reading in turn with one bit flipped, at rest and about it, where the limits are those of the motion."""
    path, passed, lost, tried = push_and_rest(rate), 0, 0, 0
    stamps, came = stream([*path, *path, *path], rate)
    until_now, fed = OutlierFilter(0.01), 0
    for place in range(len(path) + 3, 2 * len(path) - 3):
        out = until_now.pass_on(stamps[fed:place], came[fed:place], range(fed, place))
        assert not out.rejected
        fed = place
        before, true, after = came[place - 1 : place + 2]
        for bit in range(4, 9):
            wrong = round((round(100 * true) ^ 1 << bit) / 100, 2)
            if min(before, after) - 0.09 < wrong < max(before, after) + 0.09:
                continue
            tried += 1
            rest = range(place, len(came))
            out = copy.deepcopy(until_now).pass_on(stamps[place:], [wrong, *came[place + 1 :]], rest)
            passed += place in out.tags
            lost += len(out.rejected) - (place not in out.tags)
    assert passed <= tried / 40 and lost <= tried / 10, (passed, lost, tried)  # in silence before: all at 5/s


@pytest.mark.parametrize("rate", [5.0, ci(8.4), ci(30.0)])
def test_a_sled_that_stops_dead_loses_nothing(rate: float) -> None:
    """Travel that stops within one reading, rests a moment and is drawn back as abruptly."""
    draw, gate, came, readings = random.Random(13), OutlierFilter(0.01), 0, 0
    for _ in range(100):
        step, corner, rest = draw.uniform(30, 200) / rate, draw.random(), draw.randint(2, 6)
        push = [step * (corner + k) for k in range(12)]
        path = [0.0] * rest + push + [push[-1] + draw.uniform(0, step)] * rest
        for mm in path + path[::-1]:
            gate.pass_on([came / rate], [round(mm, 2)])
            came, readings = came + 1, readings + 1
    assert gate.rejections <= readings / 1000
