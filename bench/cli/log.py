"""`sweepgauge log list|show|export|import|events`, of the daemon or of a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bench.cli.common import (
    Complaint,
    connect,
    json_option,
    request,
    say,
    socket_option,
)
from bench.cli.log_import import log_import

if TYPE_CHECKING:
    from bench.finding import Unread
    from bench.protocol import LogRows
    from bench.units import System

PAGE = 100  # results in one answer of the daemon: under a mebibyte

T = TypeVar("T")


@click.group()
def log() -> None:
    """List, show, export or import what was measured; list what happened to instruments
    and log."""


log.add_command(log_import)


def _file_option(f: Any) -> Any:
    return click.option(
        "--log",
        "log_path",
        metavar="FILE",
        help="Read this file instead of asking the daemon.",
    )(f)


@log.command("list")
@socket_option
@_file_option
@json_option
@click.option("--jig", metavar="NAME", help="Only this sled.")
@click.option("--check", "kind", metavar="KIND", help="Only this check.")
@click.option(
    "--most",
    type=click.IntRange(1, 10000),
    default=50,
    show_default=True,
    help="The latest so many.",
)
def list_(
    socket_path: str | None,
    log_path: str | None,
    as_json: bool,
    jig: str | None,
    kind: str | None,
    most: int,
) -> int:
    """Results, newest first.

    Example:  sweepgauge log list --jig big-sled
    """
    from bench.render.result import result_lines

    known_kind(kind)
    reply, units = listed(socket_path, log_path, jig, kind, most)
    rows, status = reply.findings, tell_unread(reply.unread)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"findings": rows, "unread": reply.unread}))
        return status
    for finding in rows:
        lines = result_lines(finding, units)
        click.echo(f"{finding.at}  {finding.id}  {lines[0]}")
        if len(lines) > 1:
            click.echo(f"  {lines[1]}")
    if not rows and not reply.unread:
        click.echo("nothing yet")
    return status


@log.command()
@click.argument("id")
@socket_option
@_file_option
@json_option
def show(id: str, socket_path: str | None, log_path: str | None, as_json: bool) -> int:
    """One result with its evidence and what was done about it.

    Example:  sweepgauge log show 3f2a9c0d1e4b
    """
    import msgspec

    from bench.log.moves import MoveRow
    from bench.protocol import LogOne, LogShow
    from bench.render.result import result_lines

    units: System = "mm"
    if log_path is not None:
        shown = from_file(lambda h: h.show(_there(log_path), id))
        one = {
            "finding": shown.finding,
            "evidence": shown.evidence,
            "moves": shown.moves,
        }
        finding = shown.finding
    else:
        reply, units = request(socket_path, LogShow(id=id), LogOne)
        moves = [msgspec.json.decode(move, type=MoveRow) for move in reply.moves]
        one = {"finding": reply.finding, "evidence": reply.evidence, "moves": moves}
        finding = reply.finding
    if as_json:
        click.echo(msgspec.json.encode(one))
        return 0
    click.echo(f"{finding.at}  {finding.id}")
    for line in result_lines(finding, units):
        click.echo(line)
    for row in finding.budget:
        click.echo(
            f"  {row.share:5.0%}  {row.part}: {row.standard_uncertainty * 1e6:.1f} urad"
        )
    for sweep in finding.sweeps:
        what = "push" if sweep.push else "back"
        click.echo(
            f"  {sweep.placement} {what}: {sweep.readings} readings, {sweep.set_aside}"
            f" set aside, {sweep.slope:+.6f}"
        )
    for move in (
        one["moves"]
        if finding.proposed is not None
        else [m for m in one["moves"] if m.made is not None]
    ):
        click.echo(f"  {_became(move, units)}")
    return 0


@log.command()
@click.argument("id", required=False)
@socket_option
@_file_option
def export(id: str | None, socket_path: str | None, log_path: str | None) -> int:
    """The sweeps of one result as CSV, or everything, one JSON object a line, which
    `log import` takes.

    Example:  sweepgauge log export 3f2a9c0d1e4b > monday.csv
    """
    unread: list[Unread] = []
    pieces = (
        _exported(socket_path, id, unread)
        if log_path is None
        else _out_of(log_path, id, unread)
    )
    for text in pieces:
        click.echo(text, nl=False)
    return tell_unread(unread)


def _out_of(log_path: str, id: str | None, unread: list[Unread]) -> Iterator[str]:
    pieces = from_file(lambda h: h.exported(_there(log_path), id, unread))
    while text := from_file(lambda _: next(pieces, None)):
        yield text


def _exported(
    socket: str | None, id: str | None, unread: list[Unread]
) -> Iterator[str]:
    """As it comes; the daemon goes on when this has read."""
    from bench.protocol import LogExport, LogText
    from bench.protocol.client import Gone, Refused

    try:
        with connect(socket) as client:
            client.send(LogExport(id=id))
            while True:
                message = client.answer(LogText)
                yield message.text
                if message.last:
                    unread += message.unread
                    return
    except (Refused, Gone) as error:
        raise Complaint(str(error)) from error


@log.command()
@socket_option
@_file_option
@json_option
@click.option(
    "--most",
    type=click.IntRange(1, 10000),
    default=50,
    show_default=True,
    help="The latest so many.",
)
def events(
    socket_path: str | None, log_path: str | None, as_json: bool, most: int
) -> int:
    """What happened to the instruments and to the log itself, newest first, in this
    machine's local time.

    Cables, silences, switched units, held displays, readings and passes that were not
    used and why, the clock.

    Example:  sweepgauge log events --most 20
    """
    from bench.protocol import LogEventRows, LogEvents

    if log_path is not None:
        from bench.log import event_log

        rows = from_file(lambda _: event_log.events(_there(log_path), most))
    else:
        rows = request(socket_path, LogEvents(most), LogEventRows)[0].events
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"events": rows}))
        return 0
    for row in rows:
        click.echo(f"{_local(row.at)}  {row.words}")
    if not rows:
        click.echo("nothing yet")
    return 0


def _local(at: str) -> str:
    from datetime import datetime

    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M:%S")


def known_kind(kind: str | None) -> None:
    """Of a check that there is not, nothing was ever measured: that is a slip, and no
    "nothing yet"."""
    if kind is not None:
        from bench.cli.options import the_check

        the_check(kind)


def _became(move: Any, units: System) -> str:
    from bench.units import length_words

    if move.made is None:
        return "The move was not noted as made: `sweepgauge moved` does."
    distance = move.made.get("distance_mm")
    size = (
        f" by {length_words(float(distance), units)}"
        if isinstance(distance, int | float)
        else ""
    )
    proof = (
        f"verified by {move.verified_by}" if move.verified_by else "not verified yet"
    )
    return f"The move was made{size}; {proof}."


def _there(text: str) -> Path:
    return Path(text)


def from_file(call: Callable[[Any], T]) -> T:
    from bench.log import history
    from bench.log.rows import LogError

    try:
        return call(history)
    except LogError as error:
        raise Complaint(str(error)) from error


def listed(
    socket: str | None,
    log_path: str | None,
    jig: str | None,
    kind: str | None,
    most: int,
) -> tuple[LogRows, System]:
    """Findings from the daemon or out of a file, newest first, and the units in which
    they are shown."""
    from bench.protocol import LogList, LogRows

    if log_path is not None:
        return (
            from_file(
                lambda h: h.listed(_there(log_path), jig=jig, check=kind, most=most)
            ),
            "mm",
        )
    rows, units = LogRows([]), "mm"
    while True:
        want, last = min(PAGE, most - len(rows.findings)), rows.findings[-1:]
        page: LogRows
        page, units = request(
            socket,
            LogList(
                jig=jig, check=kind, most=want, before=last[0].id if last else None
            ),
            LogRows,
        )
        rows.findings.extend(page.findings)
        rows.moves.update(page.moves)
        rows.superseded.extend(page.superseded)
        rows.unread.extend(page.unread)
        rows.distances.update(page.distances)
        if len(page.findings) < want or len(rows.findings) >= most:
            return rows, units


def tell_unread(unread: list[Unread]) -> int:
    """The exit status: what could not be read is bad news, and is told beside what
    could."""
    if not unread:
        return 0
    from bench.render.finding import unread_words

    say(unread_words(unread))
    return 1
