"""The whole job on a machine ten times slower: the demonstration with its processor time held down; JSON lines.

    python tests/benchmarks/slow_machine.py [--share 0.1] [--seed 4]

As root, by a control group of this kernel (version 1 or 2): daemon, virtual saw and operator together get that share of
one core. What is measured is that nothing gives up and the result is right; exit status 1 where not.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

GROUPS = Path("/sys/fs/cgroup")
PERIOD_US = 100_000
HANG_S = 3600  # after which it has given up by hanging


def groups() -> Path | None:
    """The folder in which a group for processor time can be made."""
    for folder in (GROUPS / "cpu", GROUPS):
        limit = folder / ("cpu.cfs_quota_us" if folder.name == "cpu" else "cgroup.subtree_control")
        if limit.exists() and os.access(folder, os.W_OK) and os.geteuid() == 0:
            return folder
    return None


@contextlib.contextmanager
def held_down(share: float) -> Iterator[Path]:
    """A control group whose processes get that share of one core together."""
    folder = groups()
    if folder is None:
        raise OSError("no control group for processor time can be made here")
    made = folder / f"sweepgauge-slow-{os.getpid()}"
    made.mkdir()
    try:
        quota = round(PERIOD_US * share)
        if folder.name == "cpu":
            (made / "cpu.cfs_period_us").write_text(str(PERIOD_US))
            (made / "cpu.cfs_quota_us").write_text(str(quota))
        else:
            (made / "cpu.max").write_text(f"{quota} {PERIOD_US}")
        yield made
    finally:
        made.rmdir()


def whole_job(seed: int, group: Path | None) -> dict[str, object]:
    """The demonstration's result, with the seconds and the processor seconds that it took."""

    def join() -> None:
        if group is not None:
            (group / "cgroup.procs").write_text(str(os.getpid()))

    command = [sys.executable, "-m", "bench.cli", "demo", "--headless", "--json", "--seed", str(seed)]
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        command, preexec_fn=join, capture_output=True, text=True, timeout=HANG_S, check=False
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {
        "exit": done.returncode,
        "result": json.loads(done.stdout) if done.returncode in (0, 1) and done.stdout else {},
        "said": done.stderr.splitlines()[-3:],
        "seconds": round(time.monotonic() - began, 1),
        "processor_s": round(used, 2),
    }


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description="The whole job on a slow machine")
    parser.add_argument("--share", type=float, default=0.1)
    parser.add_argument("--seed", type=int, default=4)
    chosen = parser.parse_args(argv)
    with held_down(chosen.share) as group:
        slow = whole_job(chosen.seed, group)
    result: Any = slow.pop("result")
    good = slow["exit"] == 0
    slow["fence_urad"] = [
        round(1e6 * one["quantities"][0]["value"]) for one in (result["finding"], result["after"]) if good
    ]
    limit = "nothing gives up, and the fence is right afterwards"
    print(
        json.dumps(
            {"test": f"whole job at {chosen.share:g} of a core", "figure": slow, "limit": limit, "pass": good}
        )
    )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
