"""A made-up shop as a report is made from it: results, moves, and documents of the promised shape."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from bench.checks.model import EvidenceGear
from bench.finding import BudgetRow, Climate, Finding, Move, Quantity
from bench.gear import Indicator, Jig, Saw, Square
from bench.render.report.source import ReportSource
from bench.upkeep.dates import day_of
from bench.upkeep.drift import drift_document
from bench.upkeep.history import FenceMove, History, results_of

TOLERANCE = 0.05 / 300
GIVE = 0.012 / 300


def day(number: float, start: str = "2024-03-01") -> str:
    return (date.fromisoformat(start) + timedelta(days=round(number))).isoformat()


def finding(name: str, jig: str | None, at: str, value: float, **more: Any) -> Finding:
    verdict = "inside" if abs(value) + GIVE < TOLERANCE else "outside"
    way = "left end too near you" if value > 0 else "left end too far from you"
    move = Move("left", "away" if value > 0 else "toward", abs(value) * 500, 0.02, [0.1], 0.0, "")
    fence = Quantity("fence", value, "rad", GIVE, 9.0, TOLERANCE, verdict, way)
    return Finding(
        id=name,
        check="fence-square",
        jig=jig,
        at=f"{at}T10:00:00+00:00",
        quantities=[fence],
        verdict=verdict,
        budget=[
            BudgetRow("between sweeps", "A", 1.6e-5, 4.0, 0.61),
            BudgetRow("indicator over the span used", "B", 1.1e-5, None, 0.39),
        ],
        move=move if verdict == "outside" else None,
        **more,
    )


def drift(findings: list[Finding], moves: dict[str, str]) -> dict[str, Any]:
    """The drift document of these findings, newest first; of those in `moves` the move was made."""
    results, made = [], []
    for order, one in enumerate(reversed(findings)):
        gear = {"square": "shop", "instrument": None, "hold": None}
        results += results_of(one, day=day_of(one.at), order=order, gear=gear, turns_fence=True)
        if one.id in moves:
            made.append(FenceMove(one.id, one.jig, one.saw, day_of(one.at), order))
    return drift_document(History(results=tuple(results), moves=tuple(made)))


def due(jig: str, state: str = "soon", reason: str = "interval") -> dict[str, Any]:
    return {
        "check": "fence-square",
        "jig": jig,
        "saw": None,
        "state": state,
        "by": "2026-03-08",
        "last": "2026-02-01",
        "reason": reason,
        "minutes": 2,
        "quick": True,
    }


@pytest.fixture
def shop() -> Callable[..., ReportSource]:
    """A shop of so many sleds, each with results over two years; the names can be chosen."""

    def make(*names: str, months: int = 24) -> ReportSource:
        draw = random.Random(4)
        found: list[Finding] = []
        gear = {}
        moves: dict[str, str] = {}
        for number, jig in enumerate(names or ("big-sled",)):
            own = []
            for month in range(months):
                season = math.sin(2 * math.pi * month / 12)
                level = 2.4e-4 if month in (0, 11) else 4e-5 * season + draw.gauss(0, 6e-6)
                at = day(30.4 * month + draw.uniform(-5, 5))
                air = Climate(20.0, 0.45 + 0.15 * season)
                own.append(finding(f"{number}-{month}", jig, at, level, climate=air))
            moved = {one.id for one in own if one.move is not None}
            moves |= dict.fromkeys(moved, "verified")
            found += own
            gear[jig] = EvidenceGear(
                indicator=Indicator(resolution=0.001),
                jig=Jig(jig, pivot_to_blade=250.0, pivot_to_screw=500.0, widest_board=600.0),
                saw=Saw("cabinet"),
                square=Square("shop"),
                leaves=(0.05, 0.1, 0.15),
            )
        found.sort(key=lambda one: one.at, reverse=True)
        states = [
            ("now", "step"),
            ("soon", "interval"),
            ("later", "trend"),
            ("never-checked", "never-checked"),
        ]
        return ReportSource(
            at="2026-03-01",
            findings=found,
            moves=moves,
            distances={name: 0.12 for name in moves},
            gear=gear,
            drift=drift(found, moves),
            due={"at": "2026-03-01", "due": [due(jig, *states[n % 4]) for n, jig in enumerate(gear)]},
        )

    return make
