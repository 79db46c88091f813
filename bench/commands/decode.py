"""`sweepgauge decode`: a raw capture to readings, and what was rejected and why.

May import: click, hw.formats, hw.reading, msgspec, its neighbours.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from bench.commands.common import Complaint

if TYPE_CHECKING:
    from hw.reading import Record

BLOCK = 65536


def _words(record: Record) -> str:
    """One record as a line for a person."""
    where = f"channel {record.channel}: " if record.channel is not None else ""
    if record.fault is not None:
        return f"rejected: {record.fault} ({record.raw!r})"
    counts = f"{record.axis or 'counts'} {record.counts}" if record.counts is not None else ""
    if record.illegal is not None:
        counts += f", illegal {record.illegal}"
    if record.status is not None:
        said = f"status: {record.status}"
    elif record.value is not None:
        flags = f" [{', '.join(record.flags)}]" if record.flags else ""
        said = f"{record.value:.6g} mm (shown in {record.unit}){flags}"
    else:
        return where + counts
    return where + said + (f"; {counts}" if counts else "")


@click.command()
@click.option("--format", "format_name", required=True, metavar="NAME", help="The wire format.")
@click.option("--option", "options", multiple=True, metavar="KEY=VALUE", help="An option of the format.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def decode(format_name: str, options: tuple[str, ...], as_json: bool) -> int:
    """Raw bytes from standard input to readings.

    Example:  sweepgauge decode --format line --option profile=plain --json < captured.bin
    """
    import msgspec

    from hw.formats import make_decoder
    from hw.formats.as_json import to_json
    from hw.reading import FormatError

    given: dict[str, object] = {}
    for text in options:
        key, equals, value = text.partition("=")
        if not equals or not key:
            raise Complaint(f"--option takes KEY=VALUE, not {text!r}")
        given[key.strip()] = value
    try:
        decoder = make_decoder(format_name, given)
    except FormatError as error:
        raise Complaint(str(error)) from error
    source = sys.stdin.buffer
    out = sys.stdout.buffer
    while True:
        data = source.read(BLOCK)
        records = decoder.feed(data) if data else decoder.finish()
        for record in records:
            if as_json:
                out.write(msgspec.json.encode(to_json(record, "indicator", None)) + b"\n")
            else:
                click.echo(_words(record))
        if not data:
            break
    out.flush()
    if not as_json and decoder.rejects:
        click.echo(f"{decoder.rejects} rejected", err=True)
    return 0
