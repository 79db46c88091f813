"""How long `drift`, `due` and `report` take over a log of five years and ten sleds, beside a yardstick of this machine.

    .venv/bin/python tests/benchmarks/five_years.py

The yardstick is the reading of the same results alone, each with its checksum: what every list of results
costs.
"""

from __future__ import annotations

import json
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.checks.model import Evidence, EvidenceGear
from bench.cli.common import LogSource
from bench.cli.report import report_source
from bench.finding import BudgetRow, Climate, Finding, Quantity, SweepRow
from bench.gear import Jig
from bench.log.findings import each_finding
from bench.log.read_only import open_read
from bench.log.rows import Stamp
from bench.log.upkeep_history import drift_of_log, due_of_log
from bench.log.writer import LogWriter
from bench.render.report.page import report_html

MM = 1 / 300
FIRST = datetime(2021, 1, 4, 9, 0, tzinfo=UTC)
PARTS = (
    "between sweeps",
    "closure",
    "resolution",
    "indicator over the span used",
    "travel scale",
    "plunger tilt",
)


def write(path: Path, *, years: float = 5.0, sleds: int = 10, a_year: int = 12) -> int:
    """A log of whole checks with their budgets and passes; returns how many."""
    toss = random.Random(1)
    count, at = 0, FIRST
    writer = LogWriter.open(
        path,
        boot_id="b",
        program="b",
        on_saved=lambda _: None,
        on_trouble=lambda _: None,
        clock=lambda: Stamp(count * 10**9, at.timestamp(), True),
    )
    for number in range(int(years * a_year)):
        for sled in range(sleds):
            at = FIRST + timedelta(days=365.25 / a_year * number, hours=sled)
            _check(writer, count, f"sled-{sled}", at, toss)
            count += 1
    assert writer.close()
    return count


def _check(writer: LogWriter, count: int, jig: str, at: datetime, toss: random.Random) -> None:
    gear = EvidenceGear(jig=Jig(jig))
    writer.begin_check(f"r{count}", "fence-square", jig=jig, saw=None, options={}, gear=gear)
    quantities = [
        Quantity(
            "fence",
            toss.gauss(0, 0.005) * MM,
            "rad",
            0.011 * MM,
            9.0,
            0.05 * MM,
            "inside",
            "left end too near you",
        ),
        Quantity("square", toss.gauss(0.02, 0.005) * MM, "rad", 0.011 * MM, 9.0, way="wider than square"),
    ]
    sweeps = [
        SweepRow(placement, push, 400, 3, toss.gauss(0, 1e-5), 2e-6)
        for placement in ("handle-left", "handle-right")
        for push in (True, False) * 3
    ]
    budget = [BudgetRow(part, "A", 0.002 * MM, 8, 1 / len(PARTS)) for part in PARTS]
    finding = Finding(
        id=f"f{count}",
        check="fence-square",
        jig=jig,
        at=at.isoformat(),
        quantities=quantities,
        verdict="inside",
        sweeps=sweeps,
        budget=budget,
        climate=Climate(20.0, toss.uniform(0.3, 0.65)),
    )
    writer.finding(f"r{count}", finding, Evidence("fence-square", [], {}, gear))


def took(call: Callable[[], object], times: int = 5) -> float:
    """s of this process, the median: other work on the machine does not count."""
    seconds = []
    for _ in range(times):
        began = time.process_time()
        call()
        seconds.append(time.process_time() - began)
    return statistics.median(seconds)


def read_all(path: Path) -> None:
    with open_read(path) as db:
        for _ in each_finding(db, []):
            pass


def figures(path: Path) -> dict[str, float]:
    yardstick = took(lambda: read_all(path))
    seconds = {
        "drift": took(lambda: drift_of_log(path)),
        "due": took(lambda: due_of_log(path)),
        "report": took(lambda: report_html(*report_source(LogSource(None, str(path)), None, None))),
    }
    return {
        "yardstick_s": yardstick,
        **{f"{name}_s": one for name, one in seconds.items()},
        **{name: one / yardstick for name, one in seconds.items()},
    }


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        count = write(path)
        print(json.dumps({"results": count, **{k: round(v, 3) for k, v in figures(path).items()}}))


if __name__ == "__main__":
    main()
