"""One check of any kind on the virtual saw, and the truth beside its finding."""

from __future__ import annotations

from typing import Any

from bench.checks.options import OptionValue
from bench.demo.daemon_process import Say
from bench.demo.operator import Operator, connect, say_finding, virtual_bench
from bench.demo.truth import truth_of
from bench.finding import Finding
from bench.protocol import Begin
from bench.render.names import quantity_name
from bench.units import PER_MM, bow_words


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
            say(f"The virtual saw tells: {line}.")
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
    turn = 6.283185307179586
    return (
        abs((difference + turn / 2) % turn - turn / 2)
        if name == "phase"
        else abs(difference)
    )


def truth_words(finding: Finding, truth: dict[str, float]) -> list[str]:
    out = []
    for q in finding.quantities:
        if q.name in truth:
            known = truth[q.name]
            said = (
                f"{known * 57.29577951:.0f} degrees"
                if q.name == "phase"
                else (
                    f"{known * PER_MM:+.3f} mm per 300 mm"
                    if q.unit == "rad"
                    else bow_words(known, "mm")
                    if q.unit == "1/mm"
                    else f"{known:.3f} mm"
                )
            )
            out.append(f"{quantity_name(q.name)} {said}")
    return out
