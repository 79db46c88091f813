"""`sweepgauge drift`: has what was squared stayed so; asks the daemon, or reads a log
with --log FILE."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bench.cli.common import Complaint, json_option, request, say, socket_option
from bench.cli.log import known_kind

if TYPE_CHECKING:
    from bench.units import System


@click.command()
@socket_option
@click.option(
    "--log",
    "log_path",
    metavar="FILE",
    help="Read this file instead of asking the daemon.",
)
@json_option
@click.option("--jig", metavar="NAME", help="Only this sled.")
@click.option("--check", "kind", metavar="KIND", help="Only this check.")
def drift(
    socket_path: str | None,
    log_path: str | None,
    as_json: bool,
    jig: str | None,
    kind: str | None,
) -> int:
    """How results have changed without a move, and when to look again. Exit 1 when one
    has.

    Example:  sweepgauge drift --jig big-sled
    """
    from bench.protocol import Drift

    known_kind(kind)
    document, units = document_of(
        socket_path,
        log_path,
        Drift(jig=jig, check=kind),
        lambda upkeep, path: upkeep.drift_of_log(path, jig, kind),
    )
    if not as_json:
        from bench.render.upkeep import drift_lines

        for line in drift_lines(document, units):
            click.echo(line)
    status = told(document, as_json)
    return 1 if any(series["alarm"] for series in document["series"]) else status


def document_of(
    socket: str | None,
    log_path: str | None,
    message: Any,
    from_log: Callable[[Any, Path], dict[str, Any]],
) -> tuple[Mapping[str, Any], System]:
    """The document from the daemon or out of a file, and the units in which it is
    shown. Raises Complaint."""
    from bench.protocol import Document

    if log_path is None:
        reply, units = request(socket, message, Document)
        return reply.document, units
    from bench.log import upkeep_history
    from bench.log.rows import LogError

    try:
        return from_log(upkeep_history, Path(log_path)), "mm"
    except (LogError, ValueError) as error:
        raise Complaint(str(error)) from error


def told(document: Mapping[str, Any], as_json: bool) -> int:
    """Print it as JSON where that is wanted, and say what could not be read, which is
    bad news beside what could; the exit status."""
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode(document))
    if not document["unread"]:
        return 0
    import msgspec

    from bench.finding import Unread
    from bench.render.finding import unread_words

    say(unread_words(msgspec.convert(document["unread"], list[Unread])))
    return 1
