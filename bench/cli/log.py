"""`sweepgauge log list|show|export|import|events`, of the daemon or of a file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import click
import msgspec

from bench import protocol
from bench.checks import find
from bench.cli.common import (
    LogSource,
    check_filter,
    connect,
    jig_filter,
    json_option,
    log_source,
    most_option,
    say,
    tell,
    tell_unread,
)
from bench.cli.log_import import log_import
from bench.finding import Finding, UnreadableRecord
from bench.log.findings import MoveRow
from bench.render.printed_result import result_lines
from bench.render.result import LEAST_SHARE, part_size, slope_span, slope_span_words
from bench.units import System, length_words, value_words

UNDATED = "?: the clock had not been set when this was measured."
PAGE = 100  # results in one answer of the daemon: under a mebibyte
NOTHING_YET = ("nothing yet",)


@click.group()
def log() -> None:
    """List, show, export or import what was measured; list what happened to instruments
    and log."""


log.add_command(log_import)


@log.command("list")
@log_source
@json_option
@jig_filter
@check_filter
@most_option
def list_(
    source: LogSource, as_json: bool, jig: str | None, kind: str | None, most: int
) -> int:
    """Results, newest first.

    Example:  sweepgauge log list --jig big-sled
    """
    refuse_unknown_kind(kind)
    rows, units = list_results(source, jig, kind, most)
    found, unread, undated = rows.findings, rows.unread, rows.undated
    lines = _list_lines(rows, units) if found or unread else NOTHING_YET
    tell({"findings": found, "unread": unread, "undated": undated}, lines, as_json)
    if undated:
        say(UNDATED)
    return tell_unread(unread)


def _list_lines(rows: protocol.LogRows, units: System) -> Iterator[str]:
    for finding in rows.findings:
        first, *more = result_lines(finding, units)
        yield f"{_dated(finding, finding.id in rows.undated)}  {first}"
        yield from (f"  {line}" for line in more[:1])


def _dated(finding: Finding, undated: bool) -> str:
    return f"{finding.at}{'?' if undated else ''}  {finding.id}"


@log.command()
@click.argument("id")
@log_source
@json_option
def show(id: str, source: LogSource, as_json: bool) -> int:
    """One result with its evidence and what was done about it.

    Example:  sweepgauge log show 3f2a9c0d1e4b
    """
    reply, units = source.ask(protocol.LogShow(id=id), protocol.LogOne)
    moves = [msgspec.json.decode(move, type=MoveRow) for move in reply.moves]
    told = {"finding": reply.finding, "evidence": reply.evidence, "moves": moves}
    lines = _show_lines(reply, moves, units)
    tell({**told, "undated": reply.undated}, lines, as_json)
    if reply.undated:
        say(UNDATED)
    return 0


def _show_lines(
    reply: protocol.LogOne, moves: Sequence[MoveRow], units: System
) -> Iterator[str]:
    from bench.render.names import placement_name

    finding = reply.finding
    yield _dated(finding, reply.undated)
    yield from result_lines(finding, units)
    yield from _part_lines(finding, units)
    # all in the same digits, those that the least certain of them carries
    over = slope_span(None, units)
    give = max((2.0 * s.standard_uncertainty * over for s in finding.sweeps), default=0)
    for sweep in finding.sweeps:
        what = "pass" if sweep.push else "way back"
        rise = value_words(sweep.slope * over, give, units)
        yield (
            f"  {placement_name(sweep.placement)}, {what}: {sweep.readings} readings,"
            f" {sweep.set_aside} left out, {rise} {slope_span_words(None, units)}"
        )
    for move in moves:
        if finding.proposed is not None or move.made is not None:
            yield f"  {_move_line(move, units)}"


def _part_lines(finding: Finding, units: System) -> Iterator[str]:
    """What limits the answer, a part a line."""
    from bench.render.names import part_name

    unit = finding.quantities[0].unit if finding.quantities else "mm"
    over = f" {slope_span_words(None, units)}" if unit == "rad" else ""
    for row in (one for one in finding.budget if one.share >= LEAST_SHARE):
        give = part_size(row.standard_uncertainty, unit, units, None)
        part = part_name(row.part)
        yield f"  {row.share:5.0%}  {part}, give or take {give}{over}"


def _move_line(move: MoveRow, units: System) -> str:
    if move.made is None:
        return "The move was not noted as made: `sweepgauge moved` does."
    far = move.distance
    size = "" if far is None else f" by {length_words(far, units)}"
    proof = (
        f"verified by {move.verified_by}" if move.verified_by else "not verified yet"
    )
    return f"The move was made{size}; {proof}."


@log.command()
@click.argument("id", required=False)
@log_source
def export(id: str | None, source: LogSource) -> int:
    """The passes of one result as CSV. Without one everything, one JSON object a line,
    for `log import`.

    Example:  sweepgauge log export 3f2a9c0d1e4b > monday.csv
    """
    unread: list[UnreadableRecord] = []
    pieces = _exported(source.socket, id, unread)
    if source.file is not None:
        from bench.log.export import exported

        pieces = exported(Path(source.file), id, unread)
    for text in pieces:
        click.echo(text, nl=False)
    return tell_unread(unread)


def _exported(
    socket: str | None, id: str | None, unread: list[UnreadableRecord]
) -> Iterator[str]:
    """As it comes; the daemon goes on when this has read."""
    with connect(socket) as client:
        client.send(protocol.LogExport(id=id))
        while True:
            message = client.answer(protocol.LogText)
            yield message.text
            if message.last:
                unread += message.unread
                return


@log.command()
@log_source
@json_option
@most_option
def events(source: LogSource, as_json: bool, most: int) -> int:
    """What happened to the instruments and to the log itself, newest first. Times are
    those of this machine's clock.

    Cables, silences, switched units, held displays. Readings and passes that were not
    used, and why. The clock.

    Example:  sweepgauge log events --most 20
    """
    rows = source.ask(protocol.LogEvents(most), protocol.LogEventRows)[0].events
    lines = (f"{_local(row.at)}  {row.words}" for row in rows)
    tell({"events": rows}, lines if rows else NOTHING_YET, as_json)
    return 0


def _local(at: str) -> str:
    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M:%S")


def refuse_unknown_kind(kind: str | None) -> None:
    """Of a check that there is not, nothing was ever measured: that is a slip, and no
    "nothing yet"."""
    if kind is not None:
        find(kind)


def list_results(
    source: LogSource, jig: str | None, kind: str | None, most: int
) -> tuple[protocol.LogRows, System]:
    """Findings, newest first, and the units in which they are shown."""
    rows, page_size = protocol.LogRows([]), PAGE if source.file is None else most
    while True:
        want, last = min(page_size, most - len(rows.findings)), rows.findings[-1:]
        before = last[0].id if last else None
        message = protocol.LogList(jig=jig, check=kind, most=want, before=before)
        page, units = source.ask(message, protocol.LogRows)
        for mine in ("findings", "superseded", "unread", "undated"):
            getattr(rows, mine).extend(getattr(page, mine))
        rows.moves.update(page.moves)
        rows.distances.update(page.distances)
        if len(page.findings) < want or len(rows.findings) >= most:
            return rows, units
