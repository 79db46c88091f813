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

    def update(self, said: InstrumentState, now: float) -> None:
        self.state, self.words, self.port = said.state, said.words, said.port
        self.rate, self.unit, self.rejects = said.rate, said.unit, said.rejects
        self.grows, self.spoiled = said.grows or self.grows, said.spoiled
        if said.value is not None and said.age is not None:
            self.value, self.at = said.value, now - said.age
        elif said.state != "open":
            self.recent.clear()

    def update_cable(self, said: Cable, now: float) -> None:
        """A cable and its number, before it is known what hangs on it."""
        self.state = "open" if said.state == "reads" else said.state
        self.words, self.port, self.unit = said.words, said.port, said.unit
        self.grows = said.role  # what it is set up as already
        if said.value is None or said.age is None:
            self.value = self.at = None
            return
        if said.value != self.value or said.age == 0:
            self.recent.append((now, said.value))
        self._forget_before(now - TREND_S)
        self.value, self.at = said.value, now - said.age

    def add_readings(self, said: Readings, now: float) -> bool:
        """True when the number or its age has changed to the eye."""
        was, was_fresh = self.value, self.fresh(now)
        self.value, self.unit, self.at = said.values[-1], said.unit, now
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
    before: Mapping[str, InstrumentView], said: Sequence[Cable], now: float
) -> dict[str, InstrumentView]:
    """All cables that are looked for, by port."""
    out: dict[str, InstrumentView] = {}
    for cable in said:
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
    def of(cls, said: FittedPass) -> PassView:
        points = list(said.travel), list(said.reading), frozenset(said.aside)
        return cls(said.sweep, said.placement, said.push, *points)
