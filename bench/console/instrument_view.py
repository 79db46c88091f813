"""One instrument, and one pass, as the screen shows them."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence

import msgspec

from bench.protocol import Cable, FittedPass, InstrumentState, Readings
from bench.render.wording import without_port

FRESH_S = 1.5  # s; a younger reading is "now"
TREND_S = 0.6  # s over which the way of the number is looked at
MOST_POINTS = 4000  # of a running pass

# an instrument's state in words
STATE_WORDS: dict[str, str] = {
    "open": "reads",
    "absent": "not plugged in",
    "busy": "port in use",
    "denied": "no permission",
    "silent": "silent",
    "no-reading": "has no reading",
    "garbled": "garbled",
    "flooding": "flooding",
    "marks": "by marks",
}

# the ways of the travel, seen by whoever pushes
TRAVEL_WAYS: dict[str, tuple[str, str]] = {
    "away": ("away from you", "toward you"),
    "right": ("to the right", "to the left"),
}


class InstrumentView(msgspec.Struct):
    """An instrument: its state in words, its latest reading and how long ago that came
    (console's clock)."""

    name: str
    role: str
    state: str = "absent"
    words: str = ""
    port: str = ""
    rate: float | None = None
    value: float | None = None  # mm
    unit: str = "mm"
    at: float | None = None
    rejects: int = 0
    grows: str = ""
    spoiled: str = ""
    recent: deque[tuple[float, float]] = msgspec.field(
        default_factory=lambda: deque(maxlen=32)
    )

    def update(self, message: InstrumentState, now: float) -> None:
        self.state, self.words, self.port = message.state, message.words, message.port
        self.rate, self.unit, self.rejects = message.rate, message.unit, message.rejects
        self.grows, self.spoiled = message.grows or self.grows, message.spoiled
        if message.value is not None and message.age is not None:
            self.value, self.at = message.value, now - message.age
        elif message.state != "open":
            self.recent.clear()

    def update_cable(self, message: Cable, now: float) -> None:
        """A cable and its number, before it is known what hangs on it."""
        self.state = "open" if message.state == "reads" else message.state
        self.words, self.port, self.unit = message.words, message.port, message.unit
        self.grows = message.role  # what it is set up as already
        if message.value is None or message.age is None:
            self.value = self.at = None
            return
        if message.value != self.value or message.age == 0:
            self.recent.append((now, message.value))
        self._forget_before(now - TREND_S)
        self.value, self.at = message.value, now - message.age

    def add_readings(self, message: Readings, now: float) -> bool:
        """True when the number or its age has changed to the eye."""
        was, was_fresh = self.value, self.fresh(now)
        self.value, self.unit, self.at = message.values[-1], message.unit, now
        self.recent.append((now, self.value))
        self._forget_before(now - TREND_S)
        return was != self.value or not was_fresh

    def _forget_before(self, time: float) -> None:
        while self.recent and self.recent[0][0] < time:
            self.recent.popleft()

    def fresh(self, now: float) -> bool:
        return self.at is not None and now - self.at < FRESH_S

    @property
    def troubled(self) -> bool:
        """It does not read, or what it reads is not used."""
        return self.state not in ("open", "marks") or bool(self.spoiled)

    @property
    def named_words(self) -> str:
        """Its state in words that name it."""
        return without_port(self.name, self.port, self.words)

    @property
    def live(self) -> bool:
        return self.state == "open" and self.value is not None

    def way(self, runs: str = "away") -> str:
        """The way the number is going, in words: the plunger's or, where the travel
        runs so, the sled's."""
        if len(self.recent) < 2:
            return "still"
        change = self.recent[-1][1] - self.recent[0][1]
        least = 0.004 if self.role != "travel" else 0.3
        if abs(change) < least:
            return "still"
        if self.role == "cable":
            return "moves"
        if self.role == "travel":
            away = (change > 0) == (self.grows != "toward")
            return TRAVEL_WAYS[runs][0 if away else 1]
        if self.role == "caliper":
            return "opening" if change > 0 else "closing"
        inward = (change > 0) == (self.grows != "pulled-out")
        return "going in" if inward else "coming out"


def cable_views(
    before: Mapping[str, InstrumentView], message: Sequence[Cable], now: float
) -> dict[str, InstrumentView]:
    """All cables that are looked for, by port."""
    out: dict[str, InstrumentView] = {}
    for cable in message:
        out[cable.port] = before.get(cable.port) or InstrumentView(cable.name, "cable")
        out[cable.port].update_cable(cable, now)
    return out


class PassView(msgspec.Struct):
    """A pass as it is drawn: points in mm, and which of them were left out once that is
    known."""

    sweep: str
    placement: str = ""
    push: bool | None = None
    travel: list[float] = msgspec.field(default_factory=list)
    reading: list[float] = msgspec.field(default_factory=list)
    aside: frozenset[int] = frozenset()

    def add(self, travel: list[float], reading: list[float]) -> None:
        room = MOST_POINTS - len(self.travel)
        self.travel.extend(travel[:room])
        self.reading.extend(reading[:room])

    @classmethod
    def of(cls, message: FittedPass) -> PassView:
        points = list(message.travel), list(message.reading), frozenset(message.aside)
        return cls(message.sweep, message.placement, message.push, *points)
