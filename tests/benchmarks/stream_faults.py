"""Rubbish and flipped bits through every decoder and the gate; one JSON line a figure: test, figure, limit, pass.

    python tests/benchmarks/stream_faults.py [--share 1.0] [--only fuzz|cuts|flips|twins]

    fuzz   a million random bytes for each format, and a million spoiled frames over all of them
    cuts   every recording cut at every offset, at its end and at its beginning
    flips  a million frames for each format, one in a hundred with one bit flipped, through decoder and gate; and how
           many good ones of an abrupt hand the gate refuses, with none flipped
    twins  every recording gives its twin

--share 0.01 does a hundredth of it. Exit status 1 where a figure is missed.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple, cast

from pushes import hand, shove

from bench.stream.outlier_filter import OutlierFilter
from hw.formats import make_decoder
from hw.reading import Decoder, Record

STREAMS = Path(__file__).parents[2] / "fixtures" / "streams"
sys.path.append(str(STREAMS))
from encoders import make_encoder  # noqa: E402
from rebuild_twins import replay  # noqa: E402

MILLION = 1_000_000
STALL = 0.2  # s in which a decoder must hand back the loop
ABRUPT = 2e-3  # of good readings that an abrupt hand may lose
MEMORY = 1024  # KiB that a million of anything may add, of which the allocator's own steps are a few hundred

Case = tuple[str, dict[str, Any]]
CASES: list[Case] = [
    ("line", {}),
    ("line", {"range_mm": [-50, 50], "at_open": True}),
    ("line", {"decimals": 3}),
    ("line", {"parity7": "even", "at_open": True}),
    ("line", {"profile": "code_channel_item"}),
    ("line", {"profile": "mux"}),
    ("line", {"profile": "mode_letter"}),
    ("line", {"profile": "bridge_counts"}),
    ("line", {"profile": "bridge"}),
    ("line", {"profile": "bridge", "gauge": "sync24"}),
    ("sync52", {}),
    ("sync24", {}),
    ("sync48", {}),
    ("bcd28", {}),
    ("quad_x4", {}),
    ("wedge", {}),
    ("modbus_rtu", {}),
]


def said(test: str, figure: object, limit: object, good: bool, **more: object) -> bool:
    print(json.dumps({"test": test, "figure": figure, "limit": limit, "pass": good, **more}), flush=True)
    return good


def resident() -> float:
    """KiB."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1024


def words(case: Case) -> str:
    name, options = case
    return " ".join([name, *(f"{key}={value}" for key, value in options.items())])


class Watched:
    """A decoder whose every call is timed (processor time: the machine has other work), and counted when it raises."""

    def __init__(self, case: Case) -> None:
        self.decoder: Decoder = make_decoder(*case)
        self.worst = 0.0
        self.raised = 0

    def feed(self, data: bytes) -> list[Record]:
        began = time.thread_time()
        try:
            return self.decoder.feed(data)
        except Exception:
            self.raised += 1
            return []
        finally:
            self.worst = max(self.worst, time.thread_time() - began)


def good_pair(case: Case) -> tuple[bytes, object]:
    """Two good frames, and what the second says."""
    name = case[0]
    options = {key: value for key, value in case[1].items() if key != "range_mm"}
    encode = make_encoder(name, options)
    one, two = encode(0.05), encode(0.05) if name == "quad_x4" else encode(2.5)
    (record,) = make_decoder(name, options | {"at_open": False} if name == "line" else options).feed(two)
    return one + two, record.counts if record.value is None else record.value


def reads_again(case: Case, watched: Watched, pair: tuple[bytes, object]) -> bool:
    """Of two good frames the second is read, whatever was before."""
    frames, wanted = pair
    records = watched.feed(frames)
    if not records:
        return False
    last = records[-1]
    return (last.counts if last.value is None else last.value) == wanted


def mutated(frame: bytes, draw: random.Random) -> bytes:
    """One to three faults: a bit flipped, a byte lost, doubled or put in, an end cut off, a burst put in."""
    out = bytearray(frame)
    for _ in range(draw.randint(1, 3)):
        place, kind = draw.randrange(len(out) + 1), draw.randrange(6)
        if kind == 0 and place < len(out):
            out[place] ^= 1 << draw.randrange(8)
        elif kind == 1 and place < len(out):
            del out[place]
        elif kind == 2 and place < len(out):
            out.insert(place, out[place])
        elif kind == 3:
            out.insert(place, draw.randrange(256))
        elif kind == 4:
            del out[place:]
        else:
            out[place:place] = draw.randbytes(draw.choice((2, 5, 80)))
    return bytes(out)


def fuzz(share: float) -> bool:
    draw = random.Random(20)
    raised = lost = checked = frames = total = 0
    worst = 0.0
    grew: dict[str, float] = {}
    for case in CASES:
        pair = good_pair(case)
        encode = make_encoder(*case)
        watched = Watched(case)
        before, at = 0.0, 0
        left = size = int(MILLION * share)
        while left > 0:
            block = draw.randbytes(draw.randint(1, 4096))
            watched.feed(block)
            left -= len(block)
            checked += 1
            lost += not reads_again(case, watched, pair)
            if not before and left < 0.9 * size:
                before, at = resident(), left
        total += size
        for _ in range(int(MILLION * share / len(CASES)) + 1):
            watched.feed(mutated(encode(draw.uniform(-0.5, 0.5)), draw))
            frames += 1
            if frames % 5 == 0:
                checked += 1
                lost += not reads_again(case, watched, pair)
        grew[words(case)] = round(resident() - before) if at else 0
        raised += watched.raised
        worst = max(worst, watched.worst)
    most = max(grew.values())
    ok = said(
        "random bytes and spoiled frames: exceptions", raised, 0, raised == 0, bytes=total, frames=frames
    )
    ok &= said("the same: longest call, s of processor", round(worst, 4), STALL, worst < STALL)
    ok &= said("the same: second good frame after it not read", lost, 0, lost == 0, tried=checked)
    return ok & said("the same: memory added, KiB, the worst format", most, MEMORY, most < MEMORY, each=grew)


def recordings() -> Iterator[tuple[str, Case, bytes, list[Any]]]:
    for path in sorted(STREAMS.glob("*.header.json")):
        stem = path.name.removesuffix(".header.json")
        header = json.loads(path.read_text("utf-8"))
        twin = (STREAMS / f"{stem}.expected.jsonl").read_text("utf-8").splitlines()
        case = (header["format"], dict(header["options"]))
        yield stem, case, (STREAMS / f"{stem}.stream").read_bytes(), [json.loads(line) for line in twin]


def cuts(share: float) -> bool:
    """Cut off in mid-stream, then two good frames; and joined in mid-stream, where only the first may be new."""
    places = raised = lost = strange = 0
    worst = 0.0
    before = resident()
    for stem, case, body, _ in recordings():
        pair = good_pair(case)
        whole = [(r.value, r.status, r.counts, r.channel) for r in make_decoder(*case).feed(body)]
        for place in range(0, len(body) + 1, max(1, round(1 / share))):
            places += 1
            watched = Watched(case)
            watched.feed(body[:place])
            lost += not reads_again(case, watched, pair)
            late = Watched(case)
            told = late.feed(body[place:])
            good = [(r.value, r.status, r.counts, r.channel) for r in told if r.fault is None]
            # the first is what stands after the cut: half a frame that may read; the rest must be the stream's own
            known = [one for one in whole if one != (None, None, None, None)]
            rest = good[1:]
            if rest and known[-len(rest) :] != rest:
                strange += 1
                print(f"{stem} from {place}: {rest[:3]}", file=sys.stderr)
            raised += watched.raised + late.raised
            worst = max(worst, watched.worst, late.worst)
    grew = round(resident() - before)
    ok = said("every recording cut at every offset: exceptions", raised, 0, raised == 0, cuts=places)
    ok &= said("the same: longest call, s of processor", round(worst, 4), STALL, worst < STALL)
    ok &= said("the same: second good frame after it not read", lost, 0, lost == 0)
    ok &= said("the same, joined there: later readings that are not the stream's", strange, 0, strange == 0)
    return ok & said("the same: memory added, KiB", grew, MEMORY, grew < MEMORY)


def twins() -> bool:
    apart = [
        stem
        for stem, (name, options), body, twin in recordings()
        if replay({"format": name, "options": options}, body) != twin
    ]
    count = sum(1 for _ in recordings())
    return said(
        "recordings that differ from their twins", len(apart), 0, not apart and count >= 30, recordings=count
    )


class Stream(NamedTuple):
    """A format as it is met: readings a second, the step of its display in mm, noise in mm, of what."""

    case: Case
    rate: float
    count: float
    noise: float = 0.003
    travel: bool = False


FLIPPED: list[Stream] = [
    Stream(("line", {"resolution": "0.001 mm"}), 10.0, 0.001, 0.0008),
    Stream(("line", {"resolution": "0.001 mm"}), 100.0, 0.001, 0.0008),
    Stream(("line", {"resolution": "0.01 mm"}), 100.0, 0.01, 0.0, travel=True),
    Stream(("line", {"resolution": "0.001 mm", "send_unit": False, "parity7": "even"}), 10.0, 0.001, 0.0008),
    Stream(("line", {"profile": "code_channel_item"}), 10.0, 0.001, 0.0008),
    Stream(("line", {"profile": "mux"}), 10.0, 0.001, 0.0008),
    Stream(("line", {"profile": "mode_letter"}), 10.0, 0.001, 0.0008),
    Stream(("line", {"profile": "bridge_counts"}), 100.0, 0.005, 0.0, travel=True),
    Stream(("line", {"profile": "bridge"}), 100.0, 0.001, 0.0008),
    Stream(("sync52", {}), 5.0, 0.001, 0.0008),
    Stream(("sync24", {}), 8.4, 0.01),
    Stream(("sync24", {"resolution": "0.0005 in"}), 8.4, 0.0127),
    Stream(("sync48", {}), 40.0, 25.4 / 20480, 0.0008),
    Stream(("bcd28", {}), 3.1, 0.01),
    Stream(("modbus_rtu", {}), 30.0, 0.001, 0.0008),
]
# Pins as travel. A hand moves the sled 20 mm between two of these readings, and speeds up and slows down within them: a
# wrong one that lies between its neighbours may be true, so only the smoothness of most hands tells, and it can do no
# more harm than the way between two readings. One that lies beyond both is wrong: nobody moves a sled to and back so.
FLIPPED_TRAVEL: list[Stream] = [
    Stream(("sync24", {}), 10.0, 0.01, 0.0, travel=True),
    Stream(("sync48", {}), 10.0, 25.4 / 20480, 0.0, travel=True),
    Stream(("sync52", {}), 5.0, 0.01, 0.0, travel=True),
    Stream(("bcd28", {}), 3.1, 0.01, 0.0, travel=True),
]
BETWEEN = 0.05  # of what parses, passed on though smoother without it
BEYOND = 20  # in a million frames
OWN = {"resolution", "send_unit"}


def flip(case: Case, frame: bytes, draw: random.Random) -> bytes:
    """One bit of what is on the wire: of any byte, its end too; of a clocked frame one of its bits."""
    name, _ = case
    if name == "modbus_rtu":
        data = bytearray(bytes.fromhex(frame.decode()))
        data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        return data.hex().encode() + b"\n"
    clocked = name != "line"
    place = draw.randrange(len(frame) - clocked)
    bit = 1 if clocked else 1 << draw.randrange(8)
    return frame[:place] + bytes([frame[place] ^ bit]) + frame[place + 1 :]


def millimetres(record: Record, count: float) -> float | None:
    if record.value is None and record.counts is not None:
        return record.counts * count
    return record.value


def flipped(stream: Stream, frames: int, seed: int) -> bool:
    name, options = stream.case
    draw = random.Random(seed)
    given = {key: value for key, value in options.items() if key not in OWN}
    encode, decode, gate = make_encoder(name, options), make_decoder(name, given), OutlierFilter(stream.count)
    clean = make_decoder(name, given)
    path, slope = hand(draw, stream.rate), draw.uniform(-2e-3, 2e-3)
    hit = parsed = refused = 0
    truth: list[float] = []
    escaped: list[tuple[int, float]] = []
    for place in range(frames):
        s = next(path)
        frame = encode(s if stream.travel else 2.5 + slope * s + draw.gauss(0, stream.noise))
        true = millimetres(clean.feed(frame)[0], stream.count)
        assert true is not None
        truth.append(true)
        spoilt = draw.random() < 0.01
        hit += spoilt
        records = decode.feed(flip(stream.case, frame, draw) if spoilt else frame)
        values = [mm for record in records if (mm := millimetres(record, stream.count)) is not None]
        parsed += spoilt and any(abs(mm - true) > 1e-9 for mm in values)
        stamp = (place + draw.uniform(0, 0.3)) / stream.rate
        passed = gate.pass_on([stamp] * len(values), values, [place] * len(values))
        for at, value in zip(cast(list[int], passed.tags), passed.values, strict=True):
            if abs(value - truth[at]) > 8.5 * stream.count:
                escaped.append((at, value))
        refused += sum(abs(mm - truth[round(at * stream.rate - 0.15)]) < 1e-9 for at, mm in passed.rejected)

    def is_between(at: int, value: float) -> bool:
        around, slack = truth[max(0, at - 1) : at + 2], 8.5 * stream.count
        return min(around) - slack <= value <= max(around) + slack

    what = f"{words(stream.case)} at {stream.rate:g}/s{', travel' if stream.travel else ''}"
    slow = stream in FLIPPED_TRAVEL
    beyond = [one for one in escaped if not (slow and is_between(*one))]
    limit = max(2, round((BEYOND if slow else 5) * frames / MILLION))
    share = refused / frames
    ok = said(
        f"{what}: wrong by over 8 counts{', beyond its neighbours' if slow else ''} and passed on",
        len(beyond),
        limit,
        len(beyond) <= limit,
        frames=frames,
        flipped=hit,
        read_all_the_same=parsed,
        worst_mm=round(max((abs(value - truth[at]) for at, value in beyond), default=0.0), 4),
    )
    if slow:
        number, most = len(escaped) - len(beyond), max(2, round(BETWEEN * parsed))
        ok &= said(f"{what}: the same, but between its neighbours", number, most, number <= most)
    return ok & said(f"{what}: good and refused, share", share, 1e-4, share <= 1e-4, refused=refused)


# what an abrupt hand does to the slowest and to travel
SHOVED: list[Stream] = [
    Stream(("line", {}), 5.0, 0.001, 0.0008),
    Stream(("line", {}), 10.0, 0.001, 0.0008),
    Stream(("line", {}), 100.0, 0.001, 0.0008),
    Stream(("line", {}), 8.4, 0.01, 0.0, travel=True),
    Stream(("line", {}), 30.0, 0.01, 0.0, travel=True),
    Stream(("line", {}), 100.0, 0.01, 0.0, travel=True),
]


def shoved(stream: Stream, readings: int, seed: int) -> bool:
    draw, gate = random.Random(seed), OutlierFilter(stream.count)
    path, slope = shove(draw, stream.rate), 2e-3
    for place in range(readings):
        s = next(path)
        mm = s if stream.travel else 2.5 + slope * s + draw.gauss(0, stream.noise)
        stamp = (place + draw.uniform(0, 0.3)) / stream.rate
        gate.pass_on([stamp], [round(mm / stream.count) * stream.count])
    what = (
        f"count {stream.count:g} mm at {stream.rate:g}/s{', travel' if stream.travel else ''}, an abrupt hand"
    )
    share = gate.rejections / readings
    return said(f"{what}: good and held back, share", share, ABRUPT, share <= ABRUPT, readings=readings)


def flips(share: float) -> bool:
    streams = FLIPPED + FLIPPED_TRAVEL
    results = [flipped(stream, int(MILLION * share), 1 + k) for k, stream in enumerate(streams)]
    results += [shoved(stream, int(MILLION * share / 5), 1 + k) for k, stream in enumerate(SHOVED)]
    return all(results)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--only", choices=("fuzz", "cuts", "flips", "twins"))
    chosen = parser.parse_args()
    parts = {
        "twins": twins,
        "cuts": lambda: cuts(chosen.share),
        "fuzz": lambda: fuzz(chosen.share),
        "flips": lambda: flips(chosen.share),
    }
    results = [run() for name, run in parts.items() if chosen.only in (None, name)]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
