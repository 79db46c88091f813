"""`sweepgauge decode`: a raw capture to readings, and what was rejected and why.

May import: click, hw.formats, hw.reading, msgspec, its neighbours.
"""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING, cast

import click

from bench.commands.common import Complaint, say

if TYPE_CHECKING:
    from hw.reading import Record

BLOCK = 65536
EYEFUL = 32  # bytes of a rejected frame that a person is shown; --json has all
KEPT = 16384  # bytes from the beginning, for a guess at what they are
BITS = {24: "sync24", 28: "bcd28", 48: "sync48", 52: "sync52"}
NAMES = "line, sync24, sync48, bcd28, sync52, quad_x4, wedge, modbus_rtu"
PROFILES = "plain, code_channel_item, mux, mode_letter, bridge, bridge_counts"


def _words(record: Record) -> str:
    """One record as a line for a person."""
    from hw.formats.lengths import in_words
    from hw.statuses import meaning_of

    where = f"channel {record.channel}: " if record.channel is not None else ""
    if record.fault is not None:
        cut = "..." if len(record.raw) > EYEFUL else ""
        return f"rejected: {record.fault} ({record.raw[:EYEFUL]!r}{cut})"
    counts = f"{record.axis or 'counts'} {record.counts}" if record.counts is not None else ""
    if record.illegal is not None:
        counts += f", illegal {record.illegal}"
    if record.status is not None:
        means = meaning_of(record.status)[0]
        said = f"status: {record.status}" + (f" ({means})" if means != record.status else "")
    elif record.value is not None:
        flags = f" [{', '.join(record.flags)}]" if record.flags else ""
        said = f"{in_words(record.value)} mm (shown in {record.unit}){flags}"
    else:
        return where + counts
    return where + said + (f"; {counts}" if counts else "")


@click.command()
@click.option("--format", "format_name", required=True, metavar="NAME", help=f"The wire format: {NAMES}.")
@click.option(
    "--option",
    "options",
    multiple=True,
    metavar="KEY=VALUE",
    help=f"An option of the format, as in the settings; for line, profile is one of {PROFILES}.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def decode(format_name: str, options: tuple[str, ...], as_json: bool) -> int:
    """Raw bytes from standard input to readings, and what was rejected and why.

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
        if given.setdefault(key.strip(), value) != value:
            raise Complaint(f"--option {key.strip()} is given twice, as {given[key.strip()]!r} and {value!r}")
    try:
        decoder = make_decoder(format_name, given)
    except FormatError as error:
        raise Complaint(str(error)) from error
    if sys.stdin is None:  # closed by whoever called
        raise Complaint("there is no standard input: give the capture as `< captured.bin`")
    source = cast(io.BufferedReader, sys.stdin.buffer)
    out = sys.stdout.buffer
    first, good = bytearray(), 0
    while True:
        data = source.read1(BLOCK)  # what is there: a capture may go on while it is read
        if len(first) < KEPT:
            first += data
        records = decoder.feed(data) if data else decoder.finish()
        for record in records:
            good += record.fault is None
            if as_json:
                out.write(msgspec.json.encode(to_json(record, "indicator", None)) + b"\n")
            else:
                click.echo(_words(record))
        out.flush()
        if not data:
            break
    if not as_json and decoder.rejects:
        say(f"{decoder.rejects} rejected")
    if not first:
        say("Nothing came on standard input: the capture is empty.")
    elif not good:
        _propose(bytes(first), format_name)
    return 0


def _propose(data: bytes, tried: str) -> None:
    """Nothing was read: what would?"""
    from hw.listening import judge

    rows = [row.replace(b" ", b"") for row in data.split(b"\n")]
    if all(set(row.strip()) <= set(b"01") for row in rows):
        sizes = {BITS.get(len(row.strip())) for row in rows[:-1]} - {None, tried}
        if sizes:
            say(f"Frames of that many bits are read with: --format {' or '.join(sorted(map(str, sizes)))}")
        return
    proposal = judge(data)
    if proposal is None:
        say(
            "Nothing in it could be read. Where it was sent: `sweepgauge doctor` listens at other speeds too."
        )
        return
    settings = {key: value for key, value in proposal.settings.items() if key not in ("format", "baud")}
    if settings.pop("bits", None):
        say(
            "It was sent with seven bits and two stop bits: bits = 7 and stop = 2 in the settings, then capture again."
        )
        settings.pop("stop", None)
    said = " ".join(f"--option {key}={value}" for key, value in settings.items())
    say(f"This would fit: --format line {said}")
    for words in proposal.evidence:
        say(f"  heard: {words.replace(' at 9600 baud', '')}")  # which speed it was is not in the bytes
