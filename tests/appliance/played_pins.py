"""Panel and pins through the kernel: pedal, lamp, buzzer, an encoder and a clocked gauge, played by simulated pins.

They are of a kernel module of our own; the daemon in the guest reads them by its own libraries, as on a Pi.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import re
from collections.abc import Awaitable, Callable, Iterator, Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

import msgspec
from clocked_words import CLOCK, DATA, GAUGES, MS, REQ, Gauge, Step, words_of
from guest import Rig, hear, tell, tell_all, watching
from kernel_parts import build, load

from bench.daemon.tones import strokes
from bench.demo.truth import JOB
from bench.protocol import Abandon, Begin, Notice, PromptChanged, Readings, RejectedFrame, Tone
from bench.protocol.async_client import AsyncClient
from hw.panel import HIGH_HZ

Part = Callable[["Pins", AsyncClient], Awaitable[bool]]
Change = tuple[int, str]  # ns, level

# A Pi 5's label and revision code (the Pi's documentation, revision codes), where another chip has the first number
BOARD = "label=pinctrl-rp1 revision=0xc04170 others=1"
PEDAL, LAMP, BUZZER, A, B = 17, 22, 23, 20, 21
WIRED: dict[str, Any] = {
    "panel": {"pedal": PEDAL, "lamp": LAMP, "buzzer": BUZZER},
    "travel": {"format": "quad_x4", "a": A, "b": B, "per_count": "0.01 mm"},
}
FACE = "/sys/kernel/debug/pins"
WORDS = 80
PER_COUNT = 0.01  # mm
FIRST, STEP, LAST = -160, 4, 200  # hundredths of a mm
SLOW_BIT = 100_000  # ns; of faster ones it is only asked that no value is wrong
FAST_WAIT = 60  # s, for these: the emulated machine may see none of their edges in time
PACES = (0.5, 1.0, 1.5)  # words of 9 ms and 13 ms were measured (public reader notes)
TURNS = 500  # of four edges
SAFE_RATE = 200  # edges/s, what Python's own callbacks are good for (published scope trace)
WHEEL_RATE = 2500  # edges/s, a wheel of 600 lines on 200 mm at 200 mm/s
REST = 1.0  # s
COUNTED = 1  # see Machine: 2 ns an instruction
STROKES_APART = 40 * MS
EXPECTED = ["cautions", "place", "undo", "sweep"]
RATES = (SAFE_RATE, WHEEL_RATE, 10_000)


class Played(NamedTuple):
    """moved: ms by which the emulated machine was late in all, and the list was moved."""

    seconds: float
    moved: float


class Pins:
    """The far side of the guest's pins."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    async def play(self, steps: Sequence[Step]) -> Played:
        """Returns when the last one was played."""
        text = "".join(f"{at} {line} {level}\n" for at, line, level in steps)
        write = f"sudo dd of={FACE}/play bs=16M iflag=fullblock status=none && sudo tail -n 1 {FACE}/state"
        said = await self._rig.shell(write, given=text.encode())
        moved = int(re.findall(r"moved by (\d+) ns", said)[0])
        return Played((steps[-1][0] + moved) / 1e9, moved / MS)

    async def forget_driven(self) -> None:
        await self._rig.shell(f"echo | sudo tee {FACE}/driven >/dev/null")

    async def driven(self, line: int) -> list[Change]:
        """ns and level of each change that the program made of this line."""
        said = (await self._rig.shell(f"sudo cat {FACE}/driven")).splitlines()
        rows = [row.split() for row in said]
        return [(int(at), level) for at, which, level in rows if int(which) == line]


async def pins(rig: Rig, wheels: Path) -> bool:
    """All of it on the machine as it is installed; wheels: a folder with that of lgpio for the guest's Python."""
    lacks = "" if list(wheels.glob("lgpio-*.whl")) else f"{wheels} has no wheel of lgpio"
    if lacks := lacks or await build(rig):
        return tell("pins: pedal, lamp, encoder, clocked gauge", f"not tried: {lacks}", None, None)
    if not rig.machine.kvm:
        # by instructions: this host's own stalls would bunch the edges of a gauge that knows nothing of them
        await rig.shell("sync")
        await asyncio.to_thread(rig.machine.cut_power)
        rig.machine.counted = COUNTED
        await rig.start()
        await rig.answers()
    await rig.shell(LIBRARY)
    await rig.shell("sudo systemctl stop sweepgauge")
    await load(rig, "pins", BOARD)
    here, good = Pins(rig), True
    # a contact and both waves at rest
    await here.play([(0, PEDAL, "z"), (0, A, "0"), (0, B, "0"), (0, DATA, "0")])
    parts: list[tuple[str, Gauge | None, Part]] = [
        (gauge.format, gauge, partial(clocked_gauge, gauge)) for gauge in reversed(GAUGES)
    ]
    parts += [("encoder", None, encoder), ("panel", None, panel)]
    for name, gauge, part in parts:
        try:
            if gauge is not None:
                await _wire(rig, gauge)
            async with rig.client() as path, watching(path) as client:
                good &= await part(here, client)
        except Exception as error:
            good &= tell(f"pins: {name}", f"{type(error).__name__}: {error}", None, False)
    return good


async def _wire(rig: Rig, gauge: Gauge) -> None:
    await Pins(rig).play([(0, CLOCK, gauge.idle)])
    await rig.wire({**WIRED, "indicator": gauge.settings()})


LIBRARY = "sudo /opt/sweepgauge/bin/pip install -q --no-index --find-links wheels 'lgpio>=0.2.2'"


# ---- what is heard ------------------------------------------------------------------


def _heard(client: AsyncClient) -> Iterator[msgspec.Struct]:
    """What has come so far."""
    while not client.inbox.empty():
        if (message := client.inbox.get_nowait()) is not None:
            yield message


# ---- what is tried -------------------------------------------------------------------


async def clocked_gauge(gauge: Gauge, pins: Pins, client: AsyncClient) -> bool:
    """From -1.60 to 1.56 mm at the pace of real ones; the 24-bit one slower and faster, too: no value may be wrong."""
    sent, good = [FIRST + STEP * n for n in range(WORDS)], True
    for pace in PACES if gauge.format == "sync24" else (1.0,):
        list(_heard(client))
        played = await pins.play(words_of(gauge, sent, pace))
        # ones that none of the others is: when one is told, all before it have been
        await pins.play(words_of(gauge, [LAST] * 5))
        came, refused, fast = [], 0, gauge.bit < SLOW_BIT
        try:
            async with asyncio.timeout(FAST_WAIT if fast else 300):
                while LAST not in came:
                    message = await client.inbox.get()
                    if isinstance(message, Readings) and message.instrument == "indicator":
                        came += [round(100 * value) for value in message.values]
                    refused += isinstance(message, RejectedFrame) and message.instrument == "indicator"
        except TimeoutError:
            if not fast:
                raise
        came = [count for count in came if count != LAST]
        right = set(came) <= set(sent) and came == sorted(set(came))
        enough = len(came) >= 0.95 * WORDS or pace < 1 or fast
        name = f"{gauge.format}, {WORDS} words of {gauge.bit * pace / 1000:.0f} us a bit"
        figure = {"decoded": len(came), "refused": refused, "machine late, ms": round(played.moved, 1)}
        limit = "none wrong" if pace < 1 or fast else "none wrong, 95 % decoded"
        good &= tell(name, figure, limit, right and enough)
    if "req" in gauge.wired:
        pulls = len(await pins.driven(REQ))
        good &= tell(f"{gauge.format}: changes of the request line", pulls, "some", pulls > 0)
    return good


def turns(count: int, rate: float, back: bool = False) -> list[Step]:
    """So many periods of two square waves from rest at 00; A leads forward."""
    edges = [(A, "1"), (B, "1"), (A, "0"), (B, "0")] * count
    if back:
        edges = [(B, "1"), (A, "1"), (B, "0"), (A, "0")] * count
    return [(round((n + 1) * 1e9 / rate), line, level) for n, (line, level) in enumerate(edges)]


async def encoder(pins: Pins, client: AsyncClient) -> bool:
    """Away and back at some rates: either every edge counts, or it is told that one was missed."""
    good, count = True, 4 * TURNS * PER_COUNT
    place, _ = await _rest(client)
    for rate in RATES:
        for back in (False, True):
            played = await pins.play(turns(TURNS, rate, back))
            before = place
            place, told = await _rest(client)
            outside_uncertainty = abs(place - before - (-count if back else count)) / PER_COUNT
            name = f"encoder, {4 * TURNS} edges {'back' if back else 'away'} at {rate}/s"
            limit = "none missed" if rate <= WHEEL_RATE else "none missed untold"
            figure = {
                "edges/s": round(4 * TURNS / played.seconds),
                "missed": round(outside_uncertainty),
                "told": told,
            }
            passed = outside_uncertainty < 0.5 or (told and rate > WHEEL_RATE)
            good &= tell(name, figure, limit, passed)
    return good


async def _rest(client: AsyncClient) -> tuple[float, bool]:
    """Where the travel rests, mm, now that all was played; and whether a missed edge was told since the last time."""
    told = any(_missed(message) for message in _heard(client))
    place, since = math.nan, math.inf
    async with asyncio.timeout(120):
        while True:
            message = await client.inbox.get()
            told |= _missed(message)
            if not isinstance(message, Readings) or message.instrument != "travel":
                continue
            for at, value in zip(message.at, message.values, strict=True):
                if value != place:
                    place, since = value, at
                elif at - since > REST:
                    return place, told


def _missed(message: object) -> bool:
    return isinstance(message, Readings) and "missed_edge" in message.flags


async def panel(pins: Pins, client: AsyncClient) -> bool:
    """A contact that bounces is one press and a spike is none, a long press takes back, once; lamp and buzzer say so.

    The gauge sends all the while, so that the check comes to its first pass and the ready tone.
    """
    await pins.forget_driven()
    client.send(Begin(JOB))
    first = await hear(client, PromptChanged, lambda m: m.ask is not None and m.ask.enter)
    bounces = [(1, True), (1, False), (2, True), (0.5, False)]
    short = [*bounces, (150, True), *[(length, not closed) for length, closed in bounces]]
    held = [*bounces, (1500, True), *[(length, not closed) for length, closed in bounces]]
    presses = contact(
        (2000, False), (8, True), (2000, False), *short, (2500, False), *held, (2500, False), *short
    )
    steps = sorted(presses + words_of(GAUGES[0], [123] * 150), key=lambda step: step[0])
    played = asyncio.create_task(pins.play(steps))
    assert first.ask is not None
    heard: list[str] = [first.ask.phase]
    tones = 0
    while not played.done():
        with contextlib.suppress(TimeoutError):
            message = await asyncio.wait_for(client.inbox.get(), 1.0)
            if isinstance(message, PromptChanged) and message.ask and message.ask.phase != heard[-1]:
                heard.append(message.ask.phase)
            elif isinstance(message, Notice) and message.about == "undo":
                heard.append("undo")
            tones += isinstance(message, Tone) and message.name == "ready"
    client.send(Abandon())
    await hear(client, PromptChanged, lambda m: m.run is None)
    lamp, buzzer = await pins.driven(LAMP), await pins.driven(BUZZER)
    return all(
        [
            tell("pedal: two bounced presses, a spike, a long press", heard, EXPECTED, heard == EXPECTED),
            _lamp(lamp),
            _buzzer(buzzer, tones),
        ]
    )


def _lamp(lamp: Sequence[Change]) -> bool:
    """Half a second lit and half a second dark while a press is wanted; dark when the check was given up."""
    rises = [at for at, level in lamp if level == "1"]
    every = median(after - before for before, after in pairwise(rises)) / 1e9
    return tell_all(
        ("lamp blinks while a press is wanted, s", round(every, 3), "1.0 +/- 0.1", 0.9 < every < 1.1),
        ("lamp at the end", lamp[-1][1], "0", lamp[-1][1] == "0"),
    )


def _buzzer(buzzer: Sequence[Change], tones: int) -> bool:
    """As many strokes as the tones that were told have, each of them at its pitch; silent at the end."""
    rises = [at for at, level in buzzer if level == "1"]
    between = [after - before for before, after in pairwise(rises)]
    heard, wanted = 1 + sum(one > STROKES_APART for one in between), tones * len(strokes("ready"))
    pitch = 1e9 / median(between)
    return tell_all(
        ("buzzer, strokes", heard if rises else 0, wanted, 0 < wanted == heard),
        ("buzzer, Hz", round(pitch), f"{HIGH_HZ:.0f} +/- 10 %", abs(pitch / HIGH_HZ - 1) < 0.1),
        ("buzzer at the end", buzzer[-1][1], "0", buzzer[-1][1] == "0"),
    )


def contact(*runs: tuple[float, bool]) -> list[Step]:
    """Stretches in ms, closed or open, of a contact that closes to ground."""
    steps, at = [], float(MS)
    for length, closed in runs:
        steps.append((round(at), PEDAL, "0" if closed else "z"))
        at += length * MS
    return [*steps, (round(at), PEDAL, "z")]
