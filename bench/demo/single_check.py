"""One check of any kind on the virtual saw, and the truth beside its finding."""

from __future__ import annotations

import math
from typing import Any

import msgspec

from bench.checks import find
from bench.checks.options import OptionValue
from bench.demo.daemon_process import Say
from bench.demo.operator import BOARD, Operator, connect, say_finding, virtual_bench
from bench.demo.truth import truth_of
from bench.finding import Finding, Quantity
from bench.protocol import Begin
from bench.render.names import quantity_name
from bench.render.result import large_size
from bench.units import bow_words


async def one_check(
    seed: int,
    say: Say,
    kind: str,
    *,
    sweeps: int = 3,
    options: dict[str, OptionValue] | None = None,
    marks: bool = False,
    lean: bool = False,
    tap: bool = False,
) -> tuple[dict[str, Any], bool]:
    """The answer for `--json`, and whether all that the saw knows lies within the
    finding's give or take."""
    given = options or {}
    async with virtual_bench(seed, marks=marks, say=say) as (
        saw,
        hands,
        _,
        folder,
        _daemon,
    ):
        client = await connect(folder)
        begin = Begin(kind, sweeps=sweeps, options=dict(given), lean=lean, tap=tap)
        finding = await Operator(client, hands, say).take(begin)
        client.close()
        truth = truth_of(saw, kind, given, finding)
        say_finding(finding, say)
        for line in truth_words(finding, truth):
            say(f"In truth: {line}.")
        return {"finding": finding, "truth": truth, "seed": seed}, not missed(
            finding, truth
        )


def missed(finding: Finding, truth: dict[str, float]) -> list[str]:
    """Quantities whose give or take does not hold what is true; an angle round the turn
    is one modulo a turn."""
    return [
        q.name
        for q in finding.quantities
        if q.name in truth
        and _off(q.value - truth[q.name], q.name) > q.uncertainty + 1e-12
    ]


def _off(difference: float, name: str) -> float:
    return abs(math.remainder(difference, math.tau) if name == "phase" else difference)


def truth_words(finding: Finding, truth: dict[str, float]) -> list[str]:
    """What the saw knows of each quantity, over the length that the result tells it
    over."""
    board = BOARD if find(finding.check).turns_fence else None
    return [
        f"{quantity_name(q.name)}"
        f" {_true_size(q, truth[q.name], None if place else board)}"
        for place, q in enumerate(finding.quantities)
        if q.name in truth
    ]


def _true_size(q: Quantity, known: float, board: float | None) -> str:
    if q.name == "phase":
        return f"{math.degrees(known):.0f} degrees"
    if q.unit == "1/mm":
        return bow_words(known, "mm")
    exact = msgspec.structs.replace(q, value=known, uncertainty=0.0)
    other = ", the other way" if q.way and known * q.value < 0.0 else ""
    return " ".join(large_size(exact, "mm", board)).strip() + other
