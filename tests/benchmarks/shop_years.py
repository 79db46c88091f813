"""Five years of pretend shops: what keeping a sled square costs and saves, four ways side by side.

    .venv/bin/python tests/benchmarks/shop_years.py [--shops 200] [--only due,never]

A shop has one sled. Its fence creeps, is knocked, follows the season; parts are cut on every working day. Ways:
`never` looking after it was squared once; `by eye`: a whole check each month against the tolerance; `chart`: the
same with an individuals chart (NIST/SEMATECH e-Handbook 6.3.2.2, eight results to begin with); `due`: this
program's own due dates, quick checks, charts and season. Whoever is asked for a check skips a third of them.
The world is invented; only what the program itself does with results is not. mm are over 300 mm.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import msgspec

from bench.finding import Climate
from bench.upkeep.drift import ChartedSeries, charted_series, moisture_swing
from bench.upkeep.due_dates import next_check, self_moves
from bench.upkeep.history import FenceMove, GearEvent, History, Measurement
from bench.upkeep.moisture import equilibrium_moisture
from bench.upkeep.quick_check import whole_check_reason

DAYS = 5 * 365
TOLERANCE = 0.05  # mm over 300 mm
PARTS_A_DAY, WORK_DAYS = 3, 5 / 7
SKIPPED = 1 / 3
AGAIN = 7  # days until a skipped check is asked for again
SET_UP, DAY_TO_DAY = 0.005, 0.002  # mm, of a whole check: from its set-ups, and what else differs
SQUARE = 0.02  # mm, its error
SQUARED = 0.006  # mm, standard deviation of what a move leaves
MINUTES = {"quick": 2, "whole": 8, "move": 10, "event": 1}
KNOCKS_A_YEAR, KNOCK, NOTICED = 0.4, 0.06, 0.5  # how many, mm (standard deviation), share that is noticed
CREEP = 0.0025  # mm a month, standard deviation over shops
SWING = 0.03  # mm, the largest from 30 to 65 % humidity; even from none to that
FALSE = 0.01  # mm: an alarm at a smaller change than this is a false one
START = 20_000


@dataclass
class Shop:
    """What is true of one: the fence without moves, day by day, and what a sensor would show."""

    fence: list[float]
    noticed: set[int]
    humidity: list[float]


def shop(toss: random.Random) -> Shop:
    creep = toss.gauss(0, CREEP) / 30.4
    swing_mm = toss.uniform(0, SWING) * toss.choice((-1, 1))
    dry, wet = (equilibrium_moisture(20.0, h) for h in (0.30, 0.65))
    phase = toss.uniform(0, 365.25)
    weather = 0.0
    wood: float | None = None
    level, fence, humidity, noticed = 0.0, [], [], set()
    for day in range(DAYS):
        weather = 0.8 * weather + toss.gauss(0, 0.02)
        h = 0.475 + 0.175 * math.sin(2 * math.pi * (day + phase) / 365.25) + weather
        humidity.append(min(max(h, 0.15), 0.9))
        m = equilibrium_moisture(20.0, humidity[-1])
        wood = m if wood is None else wood + (m - wood) / 20  # it follows within weeks
        level += creep
        if toss.random() < KNOCKS_A_YEAR / 365.25:
            level += toss.gauss(0, KNOCK)
            if toss.random() < NOTICED:
                noticed.add(day)
        fence.append(level + swing_mm * (wood - (dry + wet) / 2) / (wet - dry))
    return Shop(fence, noticed, humidity)


@dataclass
class Figures:
    out: int = 0
    parts: float = 0.0
    minutes: float = 0.0
    checks: int = 0
    moves: int = 0
    alarms: int = 0
    false: int = 0


@dataclass
class Keeper:
    """One way of keeping the sled: `set_to` is what moves have added to the true fence."""

    shop: Shop
    toss: random.Random
    set_to: float = 0.0
    told: Figures = field(default_factory=Figures)

    def true(self, day: int) -> float:
        return self.shop.fence[day] + self.set_to

    def square_it(self, day: int, aim: float = 0.0) -> None:
        self.set_to += aim - self.true(day) + self.toss.gauss(0, SQUARED)
        self.told.minutes += MINUTES["move"]
        self.told.moves += 1

    def measured(self, day: int, kind: str) -> tuple[float, float | None]:
        """The fence and the square's error; a quick check knows that of before."""
        self.told.checks += 1
        self.told.minutes += MINUTES[kind]
        one, two = (self.toss.gauss(0, SET_UP * math.sqrt(2)) for _ in range(2))
        a = self.true(day) + self.toss.gauss(0, DAY_TO_DAY)
        if kind == "quick":
            return a - SQUARE + one, None
        return a + (one + two) / 2, SQUARE + (two - one) / 2

    def day(self, day: int) -> None:
        """What is done on it."""

    def live(self) -> Figures:
        self.square_it(0)
        self.begin()
        for day in range(DAYS):
            self.day(day)
            if abs(self.true(day)) > TOLERANCE:
                self.told.out += 1
                self.told.parts += PARTS_A_DAY * WORK_DAYS
        return self.told

    def begin(self) -> None:
        pass

    def is_wanted(self, day: int) -> bool:
        return self.toss.random() >= SKIPPED


class Never(Keeper):
    pass


class ByEye(Keeper):
    def day(self, day: int) -> None:
        if (day % 30 == 29 and self.is_wanted(day)) or day in self.shop.noticed:
            value, _ = self.measured(day, "whole")
            if abs(value) > TOLERANCE:
                self.square_it(day)


class Chart(Keeper):
    """Eight results, then three sigma of their moving range about their mean."""

    def begin(self) -> None:
        self.values: list[float] = []
        self.trues: list[float] = []

    def day(self, day: int) -> None:
        if not ((day % 30 == 29 and self.is_wanted(day)) or day in self.shop.noticed):
            return
        value, _ = self.measured(day, "whole")
        alarm = False
        if len(self.values) >= 8:
            # three sigma of the mean moving range: NIST/SEMATECH e-Handbook 6.3.2.2
            first = self.values[:8]
            width = 3 / 1.128 * statistics.fmean(abs(b - a) for a, b in pairwise(first))
            alarm = abs(value - statistics.fmean(first)) > width
            if alarm:
                self.told.alarms += 1
                self.told.false += abs(self.true(day) - statistics.fmean(self.trues[:8])) < FALSE
        if alarm or abs(value) > TOLERANCE:
            self.square_it(day)
            self.begin()
        else:
            self.values.append(value)
            self.trues.append(self.true(day))


class DueDates(Keeper):
    """Checks when they are due, quick where that will do; an alarm is looked at by a whole check, and answered."""

    def begin(self) -> None:
        self.results: list[Measurement] = []
        self.moves: list[FenceMove] = []
        self.events: list[GearEvent] = []
        self.trues: dict[str, float] = {}
        self.check(0, "whole")
        self.next = self.due()

    @property
    def history(self) -> History:
        return History(tuple(self.results), tuple(self.moves), tuple(self.events))

    def due(self) -> float:
        return next_check(self.series(), self_moves(self.history)).day

    def series(self) -> ChartedSeries:
        return next(one for one in charted_series(self.history) if one.key.quantity == "fence")

    def check(self, day: int, kind: str) -> float:
        value, error = self.measured(day, kind)
        if error is None:
            errors = [one.value * 300 for one in self.results if one.quantity == "square"]
            value += statistics.fmean(errors)
        u = SET_UP * (math.sqrt(2) if kind == "quick" else 1.0) / 300
        one = Measurement(
            finding=f"f{len(self.trues)}",
            day=START + day + 0.001 * (len(self.trues) % 50),
            order=len(self.trues),
            check="fence-square",
            jig="sled",
            saw=None,
            quantity="fence",
            unit="rad",
            value=value / 300,
            expanded=2.2 * u,
            varying=u,
            tolerance=TOLERANCE / 300,
            set_up="turned-over",
            quick=kind == "quick",
            turns_fence=True,
            climate=Climate(20.0, self.shop.humidity[day]),
        )
        self.results.append(one)
        if error is not None:
            self.results.append(
                msgspec.structs.replace(
                    one, quantity="square", value=error / 300, tolerance=None, turns_fence=False
                )
            )
        self.trues[one.finding] = self.true(day)
        return value

    def kind(self, day: int) -> str:
        return "whole" if whole_check_reason(self.history, jig="sled", saw=None, day=START + day) else "quick"

    def day(self, day: int) -> None:
        if day in self.shop.noticed:
            self.events.append(GearEvent("sled", "dropped", START + day - 0.5))
            self.told.minutes += MINUTES["event"]
            self.next = START + day
        if START + day < self.next:
            return
        if not self.is_wanted(day):
            self.next = START + day + AGAIN
            return
        value = self.check(day, self.kind(day))
        if self.series().alarm and self.results[-1].quick:
            value = self.check(day, "whole")
        found = self.series()
        if found.alarm:
            self.told.alarms += 1
            self.told.false += self.is_false(found, day)
        if (
            abs(value) > TOLERANCE
            or (found.alarm and abs(value) > TOLERANCE / 2)
            or self.should_be_set(found, value)
        ):
            self.move(day, found)
        elif found.alarm:
            self.events.append(GearEvent("sled", "accepted", self.results[-1].day + 0.0001))
            self.told.minutes += MINUTES["event"]
        self.next = max(self.due(), START + day + 1)

    def is_false(self, found: ChartedSeries, day: int) -> bool:
        before = [self.trues[one.result.finding] for one in found.last.results if one.alarm is None]
        return bool(before) and abs(self.true(day) - statistics.fmean(before)) < FALSE

    def should_be_set(self, found: ChartedSeries, value: float) -> bool:
        """What drift says of the months to come: a trend, or a season that swings out."""
        trend = found.last.trend
        if (
            trend is not None
            and trend.significant
            and trend.leaves is not None
            and abs(value) > TOLERANCE / 2
        ):
            return True
        season = found.season
        if season is None or not season.kept or found.last.mean is None:
            return False
        low, high = (300 * end for end in moisture_swing(found, found.last.mean))
        return max(abs(low), abs(high)) > TOLERANCE > abs(high - low) / 2 + abs(low + high) / 4

    def move(self, day: int, found: ChartedSeries) -> None:
        aim = 0.0
        if found.season is not None and found.season.kept:  # set between dry and wet
            last = found.last.results[-1]
            low, high = moisture_swing(found, 0.0)
            here = last.result.value - last.corrected
            aim = 300 * (here - (low + high) / 2)
        last = self.results[-1]
        self.moves.append(FenceMove(last.finding, "sled", None, last.day, last.order))
        self.square_it(day, aim)
        self.check(day, "whole")
        self.told.minutes -= MINUTES["whole"]  # it is part of the move


WAYS: dict[str, Callable[..., Keeper]] = {"never": Never, "by eye": ByEye, "chart": Chart, "due": DueDates}


def table(shops: int, seed: int = 1, ways: list[str] | None = None) -> dict[str, dict[str, float]]:
    """Means a shop over five years, for each way; the same shops for all."""
    found: dict[str, list[Figures]] = {}
    for number in range(shops):
        one = shop(random.Random(f"{seed}-{number}"))
        for name in ways or WAYS:
            keeper = WAYS[name](one, random.Random(f"{seed}-{number}-{name}"))
            found.setdefault(name, []).append(keeper.live())
    keys = ("out", "parts", "minutes", "checks", "moves", "alarms", "false")
    return {
        name: {key: round(statistics.fmean(getattr(one, key) for one in all_of), 2) for key in keys}
        for name, all_of in found.items()
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    ways = given.only.split(",") if given.only else None
    for name, row in table(given.shops, ways=ways).items():
        print(json.dumps({"way": name, "shops": given.shops, **row}))


if __name__ == "__main__":
    main()
