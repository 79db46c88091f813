"""`sweepgauge decode`: a raw capture to readings, and what was rejected and why."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, cast

import click

from bench.cli.common import Complaint, say
from bench.settings.paths import one_line

if TYPE_CHECKING:
    from bench.cli.capture_file import SavedCapture
    from hw.reading import Decoder, Record

# what is said of the port of a saved capture, where it is not as usual
SAID = (
    *("port", "format", "profile", "baud", "bits", "parity", "stop"),
    *("request", "rate"),
)
BLOCK = 65536
SHOWN = 32  # bytes of a rejected frame in a line for a person; --json has all
SAMPLE = 16384  # bytes from the beginning, to find a format that reads them


class _CommandWithFormats(click.Command):
    """A command whose help ends with every format and its options."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from hw.formats import FORMATS

        with formatter.section("Formats"):
            for known in FORMATS.values():
                rows = [(f"  {option.name}", option.words) for option in known.options]
                formatter.write_dl([(known.name, known.words), *rows])


def _words(record: Record) -> str:
    """One record as a line for a person."""
    from hw.formats import meaning_of
    from hw.formats.shared.lengths import in_words

    where = f"channel {record.channel}: " if record.channel is not None else ""
    if record.fault is not None:
        cut = "..." if len(record.raw) > SHOWN else ""
        return f"rejected: {record.fault} ({record.raw[:SHOWN]!r}{cut})"
    counts = ""
    if record.counts is not None:
        counts = f"{record.axis or 'counts'} {record.counts}"
    if record.illegal is not None:
        counts += f", illegal {record.illegal}"
    if record.status is not None:
        means = meaning_of(record.status)[0]
        more = f" ({means})" if means != record.status else ""
        said = f"status: {record.status}{more}"
    elif record.value is not None:
        flags = f" [{', '.join(record.flags)}]" if record.flags else ""
        said = f"{in_words(record.value)} mm (shown in {record.unit}){flags}"
    else:
        return where + counts
    return where + said + (f"; {counts}" if counts else "")


@click.command(cls=_CommandWithFormats)
@click.option(
    "--format",
    "format_name",
    metavar="NAME",
    help="The wire format, one of those below. A saved capture names its own.",
)
@click.option(
    "--option",
    "options",
    multiple=True,
    metavar="KEY=VALUE",
    help="An option of the format, as in the settings.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def decode(format_name: str | None, options: tuple[str, ...], as_json: bool) -> int:
    """Raw bytes, or a saved capture, from standard input to readings. What is rejected
    is told with its reason.

    Example:  sweepgauge decode --format line --option profile=plain < captured.bin
    """
    from hw.formats import FORMATS

    given = _key_values(options)
    if format_name is not None:
        _decoder(format_name, given)  # before anything is waited for
    if sys.stdin is None:  # closed by whoever called
        raise Complaint(
            "there is no standard input: give the capture as `< captured.bin`"
        )
    source = cast(io.BufferedReader, sys.stdin.buffer)
    came = source.read1(BLOCK)
    saved = _saved(came, source)
    if saved is not None and not as_json:
        _describe(saved)
    from_middle = False
    if saved is not None and format_name in (None, saved.port.format):
        # what an instrument sends by itself may begin in the middle of a line, and an
        # answer does not
        from_middle = saved.port.asking == "continuous"
        format_name, given = saved.port.format, {**saved.port.options, **given}
    if format_name is None:
        raise Complaint(
            f"--format says what the bytes are, one of {', '.join(FORMATS)}; only a"
            " saved capture says it itself"
        )
    decoder = _decoder(format_name, given, from_middle=from_middle)
    name = saved.instrument if saved is not None else "indicator"
    sample, good = _write_readings(
        decoder, _blocks(saved, came, source), name if as_json else None
    )
    if not as_json and decoder.rejects:
        say(f"{decoder.rejects} rejected")
    if not sample:
        say("Nothing came on standard input: the capture is empty.")
    elif not good:
        _propose(sample, format_name, given)
    return 0


def _write_readings(
    decoder: Decoder, blocks: Iterable[tuple[float | None, bytes]], name: str | None
) -> tuple[bytes, int]:
    """The first bytes, and how many records were read. name: for JSON, else None."""
    import msgspec

    from hw.formats.shared.as_json import to_json

    sample, good, out = bytearray(), 0, sys.stdout.buffer
    for at, data in blocks:
        if len(sample) < SAMPLE:
            sample += data
        for record in decoder.feed(data) if data else decoder.finish():
            good += record.fault is None
            if name is not None:
                out.write(msgspec.json.encode(to_json(record, name, at)) + b"\n")
            else:
                click.echo(_words(record))
        out.flush()
    return bytes(sample), good


def _key_values(options: tuple[str, ...]) -> dict[str, object]:
    """KEY=VALUE texts as options of the format."""
    given: dict[str, object] = {}
    for text in options:
        key, equals, value = text.partition("=")
        if not equals or not key:
            raise Complaint(f"--option takes KEY=VALUE, not {text!r}")
        if given.setdefault(key.strip(), value) != value:
            raise Complaint(
                f"--option {key.strip()} is given twice, as {given[key.strip()]!r} and"
                f" {value!r}"
            )
    return given


def _decoder(
    name: str, given: dict[str, object], *, from_middle: bool = False
) -> Decoder:
    from hw.formats import make_decoder
    from hw.reading import FormatError

    try:
        return make_decoder(name, given, from_middle=from_middle)
    except FormatError as error:
        raise Complaint(str(error)) from error


def _saved(came: bytes, source: io.BufferedReader) -> SavedCapture | None:
    """What `capture --save` wrote; None where these are bytes as they came."""
    from bench.cli.capture_file import FIRST, read

    if not came.startswith(FIRST):
        return None
    try:
        return read(came + source.read())
    except ValueError as error:
        raise Complaint(f"standard input: {error}") from error


def _describe(saved: SavedCapture) -> None:
    from hw.discovery.listening import settings_text

    port, plain = saved.port, type(saved.port)()
    said: dict[str, str | int] = {}
    for key in SAID:
        value = getattr(port, key)
        always = key in ("format", "baud") and not port.pins
        if always or value != getattr(plain, key):
            said[key] = value
    said |= port.pins
    for key, value in port.options.items():
        if key != "profile":
            said[key] = value if isinstance(value, int) else str(value)
    how = f"captured {saved.at} for {saved.seconds:g} s; {settings_text(said)}"
    say(one_line(f"{saved.instrument}, {how}"))
    if saved.note:
        say(one_line(f"Note: {saved.note}"))


def _blocks(
    saved: SavedCapture | None, came: bytes, source: io.BufferedReader
) -> Iterator[tuple[float | None, bytes]]:
    """What came, with its time where that was kept; nothing, once, at the end."""
    if saved is not None:
        yield from ((at, bytes.fromhex(text)) for at, text in saved.blocks)
        yield None, b""
        return
    while True:
        yield None, came
        if not came:
            return
        # the bytes that are there, as a capture may go on while it is read
        came = source.read1(BLOCK)


def _propose(data: bytes, tried: str, given: dict[str, object]) -> None:
    """Say what format would read the bytes of which none was read."""
    from hw.discovery.bit_frames import is_bits
    from hw.discovery.listening import recognise
    from hw.formats import FORMATS

    if is_bits(data):
        _propose_bits(data, tried, given)
        return
    for known in FORMATS.values():
        if known.pattern and re.match(known.pattern, data):
            say(f"This would fit: --format {known.name}")
            return
    proposal = recognise(data, None)  # the speed is not in the bytes
    if proposal is None:
        say(
            "Nothing in it could be read. Where it was sent: `sweepgauge doctor`"
            " listens at other speeds too."
        )
        return
    settings = {**proposal.settings}
    format_name = settings.pop("format")
    if settings.pop("bits", None):
        settings.pop("stop", None)
        say(
            "It was sent with seven bits and two stop bits: bits = 7 and stop = 2 in"
            " the settings, then capture again."
        )
    said = " ".join(f"--option {key}={value}" for key, value in settings.items())
    say(f"This would fit: --format {format_name} {said}".rstrip())
    for words in proposal.evidence:
        say(f"  heard: {words}")


def _propose_bits(data: bytes, tried: str, given: dict[str, object]) -> None:
    from hw.discovery.bit_frames import diagnose_bits

    heard = diagnose_bits(data, tried, given)
    if heard is None:
        return
    if heard.proposal is None:
        say(f"{heard.words}: {heard.advice}.".capitalize())
        return
    inverted = " --option invert=true" if heard.proposal.get("invert") else ""
    say(f"This would fit: --format {heard.proposal['format']}{inverted}")
