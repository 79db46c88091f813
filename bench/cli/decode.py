"""`sweepgauge decode`: a raw capture to readings, and what was rejected and why."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from typing import cast

import click
import msgspec

from bench.cli.capture_file import FIRST_BYTES, SavedCapture, read
from bench.cli.common import CommandError, command_errors, say
from bench.settings.paths import one_line
from hw.discovery.bit_frames import diagnose_bits, is_bits
from hw.discovery.listening import recognise, settings_text
from hw.formats import FORMATS, make_decoder, meaning_of
from hw.formats.shared.lengths import in_words
from hw.formats.shared.record_json import to_json
from hw.reading import Decoder, FormatError, Record

ALWAYS_SAID = ("format", "baud")
# what is said of the port of a saved capture, where it is not as usual
SAID = (
    *("port", "format", "profile", "baud", "bits", "parity", "stop"),
    *("request", "rate"),
)
BLOCK = 65536  # bytes a read
SHOWN_BYTES = 32  # bytes of a rejected frame in a line for a person; --json has all
SAMPLE = 16384  # bytes from the beginning, to find a format that reads them

Blocks = Iterable[tuple[float | None, bytes]]  # with their time, s, where it was kept


class _CommandWithFormats(click.Command):
    """A command whose help ends with every format and its options."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Formats"):
            for known in FORMATS.values():
                rows = [(f"  {option.name}", option.words) for option in known.options]
                formatter.write_dl([(known.name, known.words), *rows])


def _words(record: Record) -> str:
    """One record as a line for a person."""
    if record.fault is not None:
        cut = "..." if len(record.raw) > SHOWN_BYTES else ""
        return f"rejected: {record.fault} ({record.raw[:SHOWN_BYTES]!r}{cut})"
    said = []
    if (status := record.status) is not None:
        means = meaning_of(status)[0]
        said.append(f"status: {status}{f' ({means})' if means != status else ''}")
    elif record.value is not None:
        flags = f" [{', '.join(record.flags)}]" if record.flags else ""
        said.append(f"{in_words(record.value)} mm (shown in {record.unit}){flags}")
    if record.counts is not None:
        illegal = "" if record.illegal is None else f", illegal {record.illegal}"
        said.append(f"{record.axis or 'counts'} {record.counts}{illegal}")
    where = f"channel {record.channel}: " if record.channel is not None else ""
    return where + "; ".join(said)


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
    given = _key_values(options)
    if format_name is not None:
        _decoder(format_name, given)  # before anything is waited for
    saved, blocks = _input()
    for words in _described(saved) if saved is not None and not as_json else ():
        say(one_line(words))
    from_middle = False
    if saved is not None and format_name in (None, saved.port.format):
        # what an instrument sends by itself may begin in the middle of a line, and an
        # answer does not
        from_middle = saved.port.asking == "continuous"
        format_name, given = saved.port.format, {**saved.port.options, **given}
    if format_name is None:
        raise CommandError(
            f"--format says what the bytes are, one of {', '.join(FORMATS)}; only a"
            " saved capture says it itself"
        )
    decoder = _decoder(format_name, given, from_middle=from_middle)
    name = saved.instrument if saved is not None else "indicator"
    sample, good = _write_readings(decoder, blocks, name if as_json else None)
    if decoder.rejects and not as_json:
        say(f"{decoder.rejects} rejected")
    for words in _fitting(sample, format_name, given) if not good else ():
        say(words)
    return 0


def _write_readings(
    decoder: Decoder, blocks: Blocks, name: str | None
) -> tuple[bytes, int]:
    """The first bytes, and how many records were read. name: for JSON, else None."""
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
        name, equals, value = text.partition("=")
        key = name.strip()
        if not equals or not key:
            raise CommandError(f"--option takes KEY=VALUE, not {text!r}")
        if given.setdefault(key, value) != value:
            twice = f"{given[key]!r} and {value!r}"
            raise CommandError(f"--option {key} is given twice, as {twice}")
    return given


def _decoder(
    name: str, given: Mapping[str, object], *, from_middle: bool = False
) -> Decoder:
    with command_errors(FormatError):
        return make_decoder(name, given, from_middle=from_middle)


def _input() -> tuple[SavedCapture | None, Blocks]:
    """What `capture --save` wrote, None where these are bytes as they came; its bytes,
    and nothing, once, at the end."""
    if sys.stdin is None:  # closed by whoever called
        raise CommandError(
            "there is no standard input: give the capture as `< captured.bin`"
        )
    source = cast(io.BufferedReader, sys.stdin.buffer)
    came = source.read1(BLOCK)
    if not came.startswith(FIRST_BYTES):
        return None, _as_it_comes(source, came)
    with command_errors(ValueError, words=lambda error: f"standard input: {error}"):
        saved = read(came + source.read())
    rows = [*saved.blocks, (None, "")]
    return saved, ((at, bytes.fromhex(text)) for at, text in rows)


def _as_it_comes(
    source: io.BufferedReader, came: bytes
) -> Iterator[tuple[None, bytes]]:
    """The bytes that are there, as a capture may go on while it is read."""
    while came:
        yield None, came
        came = source.read1(BLOCK)
    yield None, b""


def _described(saved: SavedCapture) -> Iterator[str]:
    port, plain = saved.port, type(saved.port)()
    said: dict[str, str | int] = {
        key: getattr(port, key)
        for key in SAID
        if (key in ALWAYS_SAID and not port.pins)
        or getattr(port, key) != getattr(plain, key)
    }
    said |= port.pins
    for key, value in port.options.items():
        if key != "profile":
            said[key] = value if isinstance(value, int) else str(value)
    how = f"captured {saved.at} for {saved.seconds:g} s; {settings_text(said)}"
    yield f"{saved.instrument}, {how}"
    if saved.note:
        yield f"Note: {saved.note}"


def _fitting(data: bytes, tried: str, given: Mapping[str, object]) -> Iterator[str]:
    """Which format would read the bytes of which none was read."""
    if not data:
        yield "Nothing came on standard input: the capture is empty."
    elif is_bits(data):
        if (heard := diagnose_bits(data, tried, given)) is None:
            return
        if heard.proposal is None:
            yield f"{heard.words}: {heard.advice}.".capitalize()
        else:
            yield _as_options(**heard.proposal)
    elif shaped := [
        known.name
        for known in FORMATS.values()
        if known.pattern and re.match(known.pattern, data)
    ]:
        yield _as_options(shaped[0])
    elif (found := recognise(data, None)) is None:  # the speed is not in the bytes
        yield (
            "Nothing in it could be read. Where it was sent: `sweepgauge doctor`"
            " listens at other speeds too."
        )
    else:
        settings = {**found.settings}
        if settings.pop("bits", None):
            settings.pop("stop", None)
            yield (
                "It was sent with seven bits and two stop bits: bits = 7 and stop = 2"
                " in the settings, then capture again."
            )
        yield _as_options(**settings)
        yield from (f"  heard: {words}" for words in found.evidence)


def _as_options(format: object, **options: object) -> str:
    said = "".join(
        f" --option {key}={str(value).lower() if isinstance(value, bool) else value}"
        for key, value in options.items()
    )
    return f"This would fit: --format {format}{said}"
