"""Presses and seconds from "begin" to the result, for every kind of check on the virtual saw.

Hands that hurry set up, push and measure; what they press is counted. A press that carries an act by hand is told
apart: a set-up that stands, a lean that is held, a tap, a mark that is stood at. The limit is that of the others.
Prints one JSON line a check: all presses, those by hand by their phase, and the others.

    .venv/bin/python tests/benchmarks/presses.py [--only KIND]
"""

from __future__ import annotations

import argparse
import asyncio
import json
import time
from collections import Counter
from typing import Any

import msgspec

from bench.checks import checks
from bench.demo.operator import Operator, connect, virtual_bench
from bench.demo.truth import JOB
from bench.finding import Finding
from bench.protocol import Begin, NoteMove, Press

BY_HAND = ("place", "lean", "tap", "mark")  # phases whose press tells of an act that only a hand can do
SEED = 3
MOST = {"verify": 3, "quick": 2}  # presses; every other check 6


class Counting:
    """The client of an operator, which counts what is pressed."""

    def __init__(self, client: Any) -> None:
        self.client, self.operator = client, None
        self.phases: Counter[str] = Counter()

    @property
    def inbox(self) -> Any:
        return self.client.inbox

    def send(self, request: msgspec.Struct) -> None:
        if isinstance(request, Press):
            ask = self.operator.ask
            self.phases[ask.phase if ask is not None else "early"] += 1
        self.client.send(request)


async def count(name: str, hands: Any, folder: Any, begin: Begin) -> tuple[dict[str, Any], Finding]:
    client = Counting(await connect(folder))
    client.operator = operator = Operator(client, hands, lambda words: None)
    began = time.monotonic()
    finding = await operator.take(begin)
    took = time.monotonic() - began
    client.client.close()
    by_hand = {phase: client.phases[phase] for phase in BY_HAND if client.phases[phase]}
    others, limit = client.phases.total() - sum(by_hand.values()), MOST.get(name, 6)
    row = {"check": name, "presses": client.phases.total(), "by_hand": by_hand, "others": others}
    return {**row, "seconds": round(took, 1), "limit": limit, "pass": others <= limit}, finding


async def first_and_again(kind: str) -> list[dict[str, Any]]:
    """The first check of the day; of the job the quick check too, and what verifies its move."""
    async with virtual_bench(SEED) as (_saw, hands, _ports, folder, _daemon):
        first, finding = await count(kind, hands, folder, Begin(kind, lean=kind == JOB))
        rows = [first]
        if kind == JOB:
            quick = Begin(kind, options={"quick": "yes"})
            rows.append((await count("quick", hands, folder, quick))[0])
        if finding.proposed is not None and kind == JOB:
            move = finding.proposed
            await hands.turn_fence(move.end, move.way, move.distance)
            client = await connect(folder)
            await Operator(client, hands, lambda words: None).note(NoteMove(finding.id))
            client.close()
            rows.append(
                (await count("verify", hands, folder, Begin(kind, lean=True, verifies=finding.id)))[0]
            )
        return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", metavar="KIND")
    only = parser.parse_args().only
    for kind in checks():
        if only in (None, kind):
            for row in asyncio.run(first_and_again(kind)):
                print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
