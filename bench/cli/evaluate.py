"""`sweepgauge evaluate`: recorded sweeps to findings, without a daemon."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import Any

import click

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.cli.common import (
    Complaint,
    echo_json,
    json_option,
    load_settings,
    log_errors,
    log_option,
    paths,
    say,
    settings_option,
    worst,
)
from bench.cli.options import declared, read_options, the_check


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


@click.command(epilog=_placements())
@click.argument("kind")
@click.argument("files", nargs=-1, required=True, metavar="FILE.csv...")
@click.option(
    "--jig", metavar="NAME", help="The sled; the only one in the settings by default."
)
@click.option("--saw", metavar="NAME", help="The saw; the sled's, else the only one.")
@click.option("--square", metavar="NAME", help="The square; the only one by default.")
@settings_option
@log_option
@json_option
@partial(declared, recorded=True)
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
    """Work out recorded sweeps, each file alone.

    Example:  sweepgauge evaluate fence-square monday.csv --jig big-sled
    """
    from bench.checks.model import Evidence, EvidenceError, Known
    from bench.cli.recorded_sweeps import RecordedError, read_sweeps
    from bench.procedure.conclusion import conclude
    from bench.procedure.gear_selection import GearUnknown, use
    from bench.render.remarks import evidence_error_words, with_notes
    from bench.render.result import result_lines

    check = the_check(kind)
    where = paths(settings=settings_path, log=log_path)
    settings = load_settings(where)
    options = read_options(check, given, recorded=True)
    try:
        gear = use(settings.gear, jig=jig, saw=saw, square=square)
    except GearUnknown as error:
        raise Complaint(str(error)) from error
    findings, refused = [], []
    for name in files:
        path = Path(name)
        known = Known()
        if log_path is not None:
            from bench.log.history import known as known_of

            with log_errors():
                known = known_of(where.log, kind, gear, options)
        try:
            traces = read_sweeps(path, check, options, gear)
            evidence = Evidence(kind, traces, options, gear, known)
            number = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
            now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
            finding = conclude(evidence, id=number, at=now)
            finding = with_notes(finding, settings.units)
        except RecordedError as error:
            refused.append(str(error))
            continue
        except EvidenceError as error:
            refused.append(f"{path}: {evidence_error_words(error, settings.units)}")
            continue
        findings.append(finding)
        if as_json:
            echo_json(finding)
        else:
            if len(files) > 1:
                click.echo(f"{path}:")
            sled = gear.jig if check.turns_fence else None
            board = sled.widest_board if sled is not None else None
            for line in result_lines(finding, settings.units, board):
                click.echo(line)
    if refused:
        for words in refused[:-1]:
            say(f"sweepgauge: {words}")
        raise Complaint(refused[-1])
    if as_json and len(files) == 1:
        for note in findings[0].notes:
            say(note)
    return worst([f.verdict for f in findings])
