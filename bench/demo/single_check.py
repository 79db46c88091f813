"""One check of any kind on the virtual saw, and the truth beside its finding."""

from __future__ import annotations

from typing import Any

from bench.checks.options import OptionValue
from bench.demo.daemon_process import Say
from bench.demo.operator import Operator, connect, say_finding, virtual_bench
from bench.demo.truth import outside_uncertainty, truth_of, truth_words
from bench.protocol import Begin


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
            say(f"In truth, {line}.")
        answer = {"finding": finding, "truth": truth, "seed": seed}
        return answer, not outside_uncertainty(finding, truth)
