"""R1 to R20 by number, each measured by its own test or benchmark; one JSON line a number, exit 1 where one fails.

    python tests/benchmarks/robustness.py [--only R7 R16]... [--small]

    --small   the shares that every change is tried with, in place of the whole number of kills, cuts and frames

Each line has what was asked, the figures that its parts printed, what failed and the seconds taken. R4, R5 and R13 want
root. R2 and R9 are tried in the appliance rig besides (tests/appliance/rig.py), with real power cuts and USB ports.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[2]
DAEMON, LOG, PORTS = "tests/bench/daemon", "tests/bench/log", "tests/hw/ports"
FAULTS = "tests/benchmarks/stream_faults.py"
SOAK = "tests/benchmarks/soak.py"


class Part(NamedTuple):
    """A pytest node, or a benchmark with its arguments. whole, small: what stands for the count: the identifier of the
    parameter, or words of the command line; with None the part is left out there."""

    name: str
    whole: str | None = ""
    small: str | None = ""


class Row(NamedTuple):
    asked: str
    parts: tuple[Part, ...]


TABLE = {
    "R1": Row(
        "200 x kill -9 in sweeps: nothing acknowledged lost",
        (Part(f"{DAEMON}/test_killed_daemon.py::test_kill_9_in_sweeps", "[200]", "[3]"),),
    ),
    "R2": Row(
        "3,000 crash images: nothing acknowledged lost, the controls lose",
        (
            Part(
                f"{LOG}/power/test_log_power_loss.py::test_three_thousand_cuts_and_the_two_controls", "", None
            ),
            Part(f"{LOG}/test_log_kill.py::test_a_few_kills", None, ""),
        ),
    ),
    "R3": Row(
        "each call to the disk fails once",
        (
            Part(f"{LOG}/power/test_log_power_loss.py::test_each_call_fails_once", "", None),
            Part(f"{LOG}/test_log_trouble.py::test_a_failing_disk_is_told_and_recovers"),
        ),
    ),
    "R4": Row(
        "disk full, then room again",
        (
            Part(f"{LOG}/test_log_trouble.py::test_a_full_disk_loses_nothing_saved_and_is_left_behind"),
            Part(
                f"{LOG}/test_log_trouble.py::test_a_small_disk_that_the_write_ahead_file_filled_is_left_behind"
            ),
            Part(
                f"{DAEMON}/test_not_recorded.py::test_a_full_failing_or_read_only_medium", "[full]", "[full]"
            ),
        ),
    ),
    "R5": Row(
        "read-only medium",
        (
            Part(f"{LOG}/test_log_trouble.py::test_a_read_only_medium_is_read_and_not_written"),
            Part(f"{DAEMON}/test_not_recorded.py::test_a_check_begun_where_nothing_can_be_written"),
        ),
    ),
    "R6": Row(
        "200 damaged files at the start",
        (
            Part(f"{LOG}/test_log_damage.py::test_two_hundred_random_damages", "", None),
            Part(f"{LOG}/test_log_lost.py::test_two_hundred_damages_are_all_told", "", None),
            Part(f"{LOG}/test_log_damage.py", None, ""),
        ),
    ),
    "R7": Row(
        "a million random bytes and spoiled frames; every recording cut at every offset",
        (
            Part(FAULTS, "--only fuzz", "--only fuzz --share 0.01"),
            Part(FAULTS, "--only cuts", "--only cuts --share 0.1"),
        ),
    ),
    "R8": Row(
        "a million frames, one bit in a hundred flipped",
        (
            Part(FAULTS, "--only flips", "--only flips --share 0.01"),
            Part(
                "tests/bench/stream/test_outlier_filter.py::test_no_slope_is_off_by_more_than_its_uncertainty",
                "",
                None,
            ),
        ),
    ),
    "R9": Row(
        "100 x unplugged and plugged in",
        (
            Part(f"{DAEMON}/test_hard_use.py::test_pulled_and_plugged_in_again", "[100]", "[1]"),
            Part(f"{DAEMON}/test_hard_use.py::test_no_sweep_is_joined_across_a_pulled_cable"),
        ),
    ),
    "R10": Row(
        "50 rounds of five daemons at once",
        (Part(f"{DAEMON}/test_killed_daemon.py::test_five_daemons_at_once", "[50]", "[1]"),),
    ),
    "R11": Row("the clock jumps in mid-sweep", (Part(f"{DAEMON}/test_clock_jump.py"),)),
    "R12": Row(
        "100 x SIGTERM in a sweep",
        (Part(f"{DAEMON}/test_killed_daemon.py::test_terminated_in_a_sweep", "[100]", "[2]"),),
    ),
    "R13": Row(
        "a reader that hangs",
        (
            Part(f"{DAEMON}/test_watchdog.py"),
            Part("tests/test_systemd.py::test_the_daemon_lives_as_the_unit_promises"),
        ),
    ),
    "R14": Row(
        "hostile clients", (Part(f"{DAEMON}/test_hard_use.py::test_clients_of_bad_manners", "[20]", "[1]"),)
    ),
    "R15": Row(
        "ten clients", (Part(f"{DAEMON}/test_hard_use.py::test_ten_clients_come_and_go", "[600]", "[4]"),)
    ),
    "R16": Row(
        "soak: a day of readings, checks recorded all the while", (Part(SOAK, "", "--readings 40000"),)
    ),
    "R17": Row(
        "older and newer logs",
        (Part(f"{LOG}/test_log_schema.py", "", None), Part(f"{LOG}/test_log_earlier.py")),
    ),
    "R18": Row("every recording gives its twin", (Part(FAULTS, "--only twins", "--only twins"),)),
    "R19": Row(
        "20 copies while it sweeps",
        (Part(f"{DAEMON}/test_hard_use.py::test_copies_while_it_sweeps", "[20]", "[1]"),),
    ),
    "R20": Row("the unit's exposure", (Part("tests/test_systemd.py::test_the_unit_leaves_little_open"),)),
}


def command(part: Part, given: str) -> list[str]:
    if part.name.startswith("tests/benchmarks/"):
        return [sys.executable, part.name, *given.split()]
    options = ["-n", "0", "-s", "--timeout", "7200", "-rs"]
    return [sys.executable, "-m", "pytest", *options, part.name + given]


def measured(part: Part, given: str) -> tuple[list[Any], str | None]:
    """The figures that a part printed, and why it failed or was left out."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        command(part, given), cwd=ROOT, env=env, capture_output=True, text=True, check=False
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith('{"test"')]
    figures = [json.loads(line) for line in lines]
    missed = [one["test"] for one in figures if one.get("pass") is False]
    skipped = re.findall(r"^SKIPPED.*", done.stdout, flags=re.MULTILINE)
    if done.returncode:
        last = (done.stdout + done.stderr).strip().splitlines()[-1:]
        return figures, f"{part.name}{given}: {missed or last}"
    return figures, f"{part.name}{given}: {skipped}" if skipped else None


def short(figure: dict[str, Any]) -> list[Any]:
    return [figure["test"], figure.get("figure"), figure.get("limit")]


def say(number: str, *, small: bool) -> bool:
    row, began = TABLE[number], time.monotonic()
    done = [(part, part.small if small else part.whole) for part in row.parts]
    results = [measured(part, given) for part, given in done if given is not None]
    figures = [short(one) for found, _ in results for one in found]
    failed = [why for _, why in results if why]
    told = {
        "number": number,
        "asked": row.asked,
        "share": "small" if small else "whole",
        "figures": figures,
        "failed": failed,
        "seconds": round(time.monotonic() - began),
        "pass": not failed,
    }
    print(json.dumps(told), flush=True)
    return not failed


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", nargs="+", choices=TABLE, default=list(TABLE))
    parser.add_argument("--small", action="store_true")
    chosen = parser.parse_args()
    return 0 if all([say(number, small=chosen.small) for number in chosen.only]) else 1


if __name__ == "__main__":
    sys.exit(main())
