"""`sweepgauge doctor`: what is wrong with ports, rates, machine and rights, and the
advice.

It proposes and never changes anything.
"""

from __future__ import annotations

import click

from bench.cli.common import (
    CommandError,
    echo_json,
    echo_lines,
    json_option,
    length_option,
    log_option,
    paths,
    say,
    settings_option,
    socket_option,
)
from bench.doctor import diagnostic
from bench.doctor.diagnostic import Diagnostic, ListeningOptions
from bench.doctor.examination import examine


@click.command()
@socket_option
@settings_option
@log_option
@click.option(
    "--spacing",
    metavar="LENGTH",
    help="Travel wanted between two readings, 2 mm if not said: how fast may you push?",
)
@click.option(
    "--seconds",
    type=click.FloatRange(0.5, 600),
    help=(
        "Listen for so long, 1.5 if not said: for what sends at its button; or for the"
        " noise."
    ),
)
@json_option
def doctor(
    socket_path: str | None,
    settings_path: str | None,
    log_path: str | None,
    spacing: str | None,
    seconds: float | None,
    as_json: bool,
) -> int:
    """Ports, formats, rates, clock, disk, permissions: what is wrong, what to do.

    Example:  sweepgauge doctor --spacing "1 mm"
    """
    wanted = length_option("--spacing", spacing or "2 mm") or 0.0
    if wanted <= 0:
        raise CommandError(f"--spacing takes a length above zero, not {spacing}")
    where = paths(settings=settings_path, log=log_path, socket=socket_path, client=True)
    if seconds is not None:
        say(
            f"Listening for {seconds:g} s: move it, leave it at rest, or press its"
            " button."
        )
    listening = diagnostic.LISTEN if seconds is None else seconds
    options = ListeningOptions(wanted, "mm", spacing is not None, listening)
    diagnostics = []
    for one in examine(where, options):
        diagnostics.append(one)
        echo_lines(() if as_json else _lines(one))
    faults = sum(one.good is False for one in diagnostics)
    if as_json:
        echo_json({"good": not faults, "matters": diagnostics})
    else:
        open_ends = sum(one.good is None and bool(one.advice) for one in diagnostics)
        click.echo(_total(faults, open_ends))
    return 1 if faults else 0


def _total(faults: int, open_ends: int) -> str:
    """open_ends: notes with an advice, such as on a silent instrument."""
    words = "No fault found"
    if faults:
        words = f"{faults} fault{'s' if faults > 1 else ''} found"
    return words + (f"; {open_ends} more to see to." if open_ends else ".")


def _lines(one: Diagnostic) -> list[str]:
    sign = {True: "good ", False: "FAULT", None: "     "}[one.good]
    heard = [f"      heard: {line}" for line in one.evidence]
    advice = [f"      do: {one.advice}"] if one.advice else []
    return [f"{sign} {one.about}: {one.words}", *heard, *advice]
