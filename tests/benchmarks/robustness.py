"""R1 to R25 by number, each measured by its own test or benchmark; one JSON line a number, exit 1 where one fails.

    python tests/benchmarks/robustness.py [--only R7 R16]... [--small]

    --small   the shares that every change is tried with, in place of the whole number of kills, cuts and frames

Each line has what was asked, the figures that its parts printed, and what failed. R4, R5, R13, R23 and R25 want
root. R2 and R9 are tried in the appliance rig besides (tests/appliance/rig.py), with real power cuts and USB ports.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
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
        (Part(f"{DAEMON}/test_killed_daemon.py::test_kill_9_in_sweeps", "[200]", "[2]"),),
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
            Part(
                "tests/bench/stream/test_outlier_filter.py::test_no_slope_is_off_by_what_passes_of_a_slow_travel",
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
        (Part(f"{DAEMON}/test_killed_daemon.py::test_five_daemons_at_once", "[50]", "[2]"),),
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
    "R21": Row(
        "nothing falsely good, 2 to 200 readings a second",
        (Part(f"{DAEMON}/test_never_falsely_good.py", "", "::test_said_by_the_daemon"),),
    ),
    "R22": Row(
        "200 x kill -9 at each acknowledging word, 0 to 0.2 s a sync",
        tuple(
            Part(
                f"{DAEMON}/test_said_when_on_disk.py::test_killed_at_each_word",
                f"[{word}-200]",
                f"[{word}-4]",
            )
            for word in ("begun", "acknowledged", "kept", "noted", "taken_back", "given_up")
        ),
    ),
    "R23": Row(
        "no silent loss: damaged files, one bad row, media that cannot be written",
        (
            Part(f"{LOG}/test_log_lost.py::test_two_hundred_damages_are_all_told", "", None),
            Part(f"{LOG}/test_log_lost.py::test_some_damages_are_all_told", None, ""),
            Part(f"{LOG}/test_log_lost.py::test_one_bad_row_costs_one_row_and_is_told"),
            Part(f"{LOG}/test_log_lost.py::test_a_lost_write_ahead_file_is_known_by_what_was_told"),
            Part(f"{LOG}/test_log_lost.py::test_a_log_that_is_away_beside_what_was_told_is_missed"),
            Part(f"{DAEMON}/test_log_damage_told.py"),
            Part(f"{DAEMON}/test_not_recorded.py"),
        ),
    ),
    "R24": Row(
        "10,000 results out and in through the daemon",
        (
            Part(f"{LOG}/test_log_import.py::test_ten_thousand_results_through_the_daemon", "", None),
            Part(f"{LOG}/test_log_import.py::test_six_hundred_results_through_the_daemon", None, ""),
            Part(f"{LOG}/test_log_import.py::test_through_the_daemon_as_into_a_file"),
            Part(f"{LOG}/test_log_import.py::test_an_export_comes_back_whole_and_never_twice"),
        ),
    ),
    "R25": Row(
        "the whole job at a tenth of a core",
        (Part("tests/benchmarks/slow_machine.py", "--share 0.1", "--share 0.5"),),
    ),
}


class Found(NamedTuple):
    """What a part printed, and why it failed or was left out."""

    figures: list[dict[str, Any]]
    why: str | None


def by_pytest(nodes: list[str]) -> Iterator[tuple[str, Found]]:
    """Each test that these nodes name, in one run: a start of pytest costs more than most of them."""
    options = ["-n", "0", "-s", "-vv", "--timeout", "7200", "-p", "no:randomly"]
    command = [sys.executable, "-m", "pytest", *options, *nodes]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        node, figures = "", []
        for line in process.stdout:
            if started := re.match(r"(tests/\S+::\S+)", line):
                node, figures = started[1], []
            if line.startswith('{"test"'):
                figures.append(json.loads(line))
            if node and (end := re.search(r"\b(PASSED|FAILED|ERROR|SKIPPED)\b(.*)", line)):
                yield (
                    node,
                    Found(figures, None if end[1] == "PASSED" else f"{node}: {end[1]}{end[2].rstrip()}"),
                )
                node = ""


def by_benchmark(part: Part, given: str) -> Found:
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, part.name, *given.split()]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    figures = [json.loads(line) for line in done.stdout.splitlines() if line.startswith('{"test"')]
    missed = [one["test"] for one in figures if one["pass"] is False] or done.stderr.splitlines()[-1:]
    return Found(figures, f"{part.name} {given}: {missed}" if done.returncode else None)


def short(figure: dict[str, Any]) -> list[Any]:
    return [figure["test"], figure.get("figure"), figure.get("limit")]


def say(number: str, results: list[Found], *, small: bool) -> bool:
    failed = [one.why for one in results if one.why]
    told = {
        "number": number,
        "asked": TABLE[number].asked,
        "share": "small" if small else "whole",
        "tests": len(results),
        "figures": [short(one) for found in results for one in found.figures],
        "failed": failed if results else ["nothing was run"],
        "pass": bool(results) and not failed,
    }
    print(json.dumps(told), flush=True)
    return bool(told["pass"])


def measure(numbers: list[str], *, small: bool) -> bool:
    parts = {n: [(p, p.small if small else p.whole) for p in TABLE[n].parts] for n in numbers}
    nodes = [
        (part.name + given, number)
        for number in numbers
        for part, given in parts[number]
        if given is not None and "/test_" in part.name
    ]
    results: dict[str, list[Found]] = {n: [] for n in numbers}
    for node, found in by_pytest(sorted({name for name, _ in nodes})) if nodes else ():
        print(json.dumps({"node": node, "failed": found.why}), file=sys.stderr, flush=True)
        for number in {number for name, number in nodes if node.startswith(name)}:
            results[number].append(found)
    good = True
    for number in numbers:
        results[number] += [
            by_benchmark(part, given)
            for part, given in parts[number]
            if given is not None and part.name.startswith("tests/benchmarks/")
        ]
        good &= say(number, results[number], small=small)
    return good


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", nargs="+", choices=TABLE, default=list(TABLE))
    parser.add_argument("--small", action="store_true")
    chosen = parser.parse_args()
    return 0 if measure(chosen.only, small=chosen.small) else 1


if __name__ == "__main__":
    sys.exit(main())
