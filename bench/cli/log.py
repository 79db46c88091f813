"""`sweepgauge log list|show|export|import|events`, of the daemon or of a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bench.cli.common import (
    LogSource,
    connect,
    echo_json,
    echo_lines,
    json_option,
    most_option,
    only_check_option,
    only_jig_option,
    say,
    tell_unread,
    whose_log,
)
from bench.cli.log_import import log_import

if TYPE_CHECKING:
    from bench.finding import Finding, Unread
    from bench.log.moves import MoveRow
    from bench.protocol import LogRows
    from bench.units import System

UNDATED = "?: the clock had not been set when this was measured."
PAGE = 100  # results in one answer of the daemon: under a mebibyte


@click.group()
def log() -> None:
    """List, show, export or import what was measured; list what happened to instruments
    and log."""


log.add_command(log_import)


@log.command("list")
@whose_log
@json_option
@only_jig_option
@only_check_option
@most_option
def list_(
    source: LogSource,
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
    reply, units = listed(source, jig, kind, most)
    rows, status = reply.findings, tell_unread(reply.unread)
    if as_json:
        echo_json({"findings": rows, "unread": reply.unread, "undated": reply.undated})
        return status
    for finding in rows:
        lines = result_lines(finding, units)
        at = _dated(finding.at, finding.id in reply.undated)
        click.echo(f"{at}  {finding.id}  {lines[0]}")
        if len(lines) > 1:
            click.echo(f"  {lines[1]}")
    if not rows and not reply.unread:
        click.echo("nothing yet")
    if reply.undated:
        say(UNDATED)
    return status


def _dated(at: str, undated: bool) -> str:
    return f"{at}?" if undated else at


@log.command()
@click.argument("id")
@whose_log
@json_option
def show(id: str, source: LogSource, as_json: bool) -> int:
    """One result with its evidence and what was done about it.

    Example:  sweepgauge log show 3f2a9c0d1e4b
    """
    import msgspec

    from bench.log.moves import MoveRow
    from bench.protocol import LogOne, LogShow
    from bench.render.result import result_lines

    reply, units = source.ask(LogShow(id=id), LogOne)
    finding = reply.finding
    moves = [msgspec.json.decode(move, type=MoveRow) for move in reply.moves]
    if as_json:
        told = {"finding": finding, "evidence": reply.evidence, "moves": moves}
        echo_json({**told, "undated": reply.undated})
        return 0
    click.echo(f"{_dated(finding.at, reply.undated)}  {finding.id}")
    if reply.undated:
        say(UNDATED)
    echo_lines([*result_lines(finding, units), *_evidence_lines(finding)])
    for move in moves:
        if finding.proposed is not None or move.made is not None:
            click.echo(f"  {_became(move, units)}")
    return 0


def _evidence_lines(finding: Finding) -> Iterator[str]:
    from bench.render.names import part_name, placement_name

    for row in finding.budget:
        size = row.standard_uncertainty * 1e6
        yield f"  {row.share:5.0%}  {part_name(row.part)}: {size:.1f} urad"
    for sweep in finding.sweeps:
        what = "pass" if sweep.push else "way back"
        yield (
            f"  {placement_name(sweep.placement)}, {what}: {sweep.readings} readings,"
            f" {sweep.set_aside} left out, slope {sweep.slope:+.6f}"
        )


@log.command()
@click.argument("id", required=False)
@whose_log
def export(id: str | None, source: LogSource) -> int:
    """The passes of one result as CSV. Without one everything, one JSON object a line,
    for `log import`.

    Example:  sweepgauge log export 3f2a9c0d1e4b > monday.csv
    """
    unread: list[Unread] = []
    pieces = _exported(source.socket, id, unread)
    if source.file is not None:
        from bench.log.export import exported

        pieces = exported(Path(source.file), id, unread)
    for text in pieces:
        click.echo(text, nl=False)
    return tell_unread(unread)


def _exported(
    socket: str | None, id: str | None, unread: list[Unread]
) -> Iterator[str]:
    """As it comes; the daemon goes on when this has read."""
    from bench.protocol import LogExport, LogText

    with connect(socket) as client:
        client.send(LogExport(id=id))
        while True:
            message = client.answer(LogText)
            yield message.text
            if message.last:
                unread += message.unread
                return


@log.command()
@whose_log
@json_option
@most_option
def events(source: LogSource, as_json: bool, most: int) -> int:
    """What happened to the instruments and to the log itself, newest first. Times are
    those of this machine's clock.

    Cables, silences, switched units, held displays. Readings and passes that were not
    used, and why. The clock.

    Example:  sweepgauge log events --most 20
    """
    from bench.protocol import LogEventRows, LogEvents

    rows = source.ask(LogEvents(most), LogEventRows)[0].events
    if as_json:
        echo_json({"events": rows})
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
        from bench.checks import find

        find(kind)


def _became(move: MoveRow, units: System) -> str:
    from bench.units import length_words

    if move.made is None:
        return "The move was not noted as made: `sweepgauge moved` does."
    far = move.distance
    size = "" if far is None else f" by {length_words(far, units)}"
    proof = (
        f"verified by {move.verified_by}" if move.verified_by else "not verified yet"
    )
    return f"The move was made{size}; {proof}."


def listed(
    source: LogSource, jig: str | None, kind: str | None, most: int
) -> tuple[LogRows, System]:
    """Findings, newest first, and the units in which they are shown."""
    from bench.protocol import LogList, LogRows

    rows, page_size = LogRows([]), PAGE if source.file is None else most
    while True:
        want, last = min(page_size, most - len(rows.findings)), rows.findings[-1:]
        before = last[0].id if last else None
        message = LogList(jig=jig, check=kind, most=want, before=before)
        page, units = source.ask(message, LogRows)
        rows.findings.extend(page.findings)
        rows.moves.update(page.moves)
        rows.superseded.extend(page.superseded)
        rows.unread.extend(page.unread)
        rows.distances.update(page.distances)
        rows.undated.extend(page.undated)
        if len(page.findings) < want or len(rows.findings) >= most:
            return rows, units
