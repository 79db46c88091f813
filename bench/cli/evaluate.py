"""`sweepgauge evaluate`: recorded sweeps to findings, without a daemon."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import Any

import click

from bench.checks import checks, find
from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge
from bench.cli.common import (
    CommandError,
    exit_status,
    json_option,
    load_settings,
    log_option,
    paths,
    say,
    settings_option,
    tell,
)
from bench.cli.csv_rows import RecordedError
from bench.cli.options import CommandOfKinds, check_options, gear_options, read_options
from bench.cli.recorded_sweeps import read_sweeps
from bench.finding import EvidenceError, Finding
from bench.procedure.conclusion import conclude
from bench.procedure.gear_selection import use
from bench.render.printed_result import result_lines
from bench.render.remarks import evidence_error_words, with_notes


def _placements() -> str:
    """The names that the column `placement` (`what`, `end`) may hold, by kind."""
    lines = ["\b", "Set-ups by their names in a file:"]
    for check in checks().values():
        names = [s.placement for s in check.plan({}, EvidenceGear())]
        text = f"{check.kind}: {', '.join(dict.fromkeys(names))}"
        lines += wrap(
            text,
            74,
            initial_indent="  ",
            subsequent_indent="    ",
            break_on_hyphens=False,
        )
    return "\n".join(lines)


@click.command(cls=CommandOfKinds, epilog=_placements())
@click.argument("kind")
@click.argument("files", nargs=-1, required=True, metavar="FILE.csv...")
@gear_options
@settings_option
@log_option
@json_option
@partial(check_options, recorded=True)
def evaluate(
    kind: str,
    files: tuple[str, ...],
    jig: str | None,
    saw: str | None,
    square: str | None,
    settings_path: str | None,
    log_path: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Work out recorded passes, each file alone.

    Example:  sweepgauge evaluate fence-square monday.csv --jig big-sled
    """
    check = find(kind)
    where = paths(settings=settings_path, log=log_path)
    settings = load_settings(where)
    options = read_options(check, given, recorded=True)
    gear = use(settings.gear, jig=jig, saw=saw, square=square)
    known = PriorKnowledge()
    if log_path is not None:
        from bench.log import history

        known = history.known(where.log, kind, gear, options)
    findings, refused = [], []
    for path in map(Path, files):
        try:
            traces = read_sweeps(path, check, options, gear)
            evidence = Evidence(check.kind, traces, options, gear, known)
            findings.append(with_notes(_worked_out(path, evidence), settings.units))
        except RecordedError as error:
            refused.append(str(error))
        except EvidenceError as error:
            refused.append(f"{path}: {evidence_error_words(error, settings.units)}")
        else:
            if len(files) > 1 and not as_json:
                click.echo(f"{path}:")
            sled = gear.jig if check.turns_fence else None
            widest = sled.widest_board if sled else None
            lines = result_lines(findings[-1], settings.units, widest)
            tell(findings[-1], lines, as_json)
    for words in refused[:-1]:
        say(f"sweepgauge: {words}")
    if refused:
        raise CommandError(refused[-1])
    if as_json and len(files) == 1:
        for note in findings[0].notes:
            say(note)
    return exit_status([f.verdict for f in findings])


def _worked_out(path: Path, evidence: Evidence) -> Finding:
    """Raises EvidenceError."""
    number = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
    now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
    return conclude(evidence, id=number, at=now)
