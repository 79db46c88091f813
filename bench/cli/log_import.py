"""`sweepgauge log import`: an export into the running daemon's log, or into a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import click

from bench.cli.common import CommandError, command_errors, connect, say, socket_option
from bench.procedure.status_message import StatusMessage
from bench.protocol import IMPORT_PIECE, LogImport, LogImported
from bench.protocol.client import ConnectionClosed, RequestRefused
from bench.render.notices import text
from bench.settings.paths import one_line

SHOWN_PROBLEMS = 20  # problems that are shown; the others are counted
DATABASE = b"SQLite format 3\0"

# a piece, and whether it is the last; what was taken so far
Feed = Callable[[bytes, bool], LogImported]


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@socket_option
@click.option(
    "--log",
    "log_path",
    metavar="FILE",
    help="Write into this file instead of asking the daemon.",
)
def log_import(file: Path, socket_path: str | None, log_path: str | None) -> int:
    """Take what `log export` wrote into this log: by id, and never twice.

    Each line of FILE is one JSON object with a `finding`. Its fields are those of
    `check --json`. `id`, `check`, `at` and one quantity are enough: name, value, unit
    and uncertainty. Beside it may stand `evidence`, `moves`, `instrument`, `hold` and
    `superseded_by`. A line may be an `event` of the gear. A line that cannot be read is
    named and left out. An export lacks wire bytes and the climate between results.
    For those keep the log file itself.

    Example:  sweepgauge log import all.jsonl
    """
    into = _daemon(socket_path) if log_path is None else _log_file(Path(log_path))
    problems: list[StatusMessage] = []
    with into as feed:
        for piece, last in _pieces(file):
            counts = feed(piece, last)
            problems += counts.problems
    if counts.left_out == counts.lines > 0 and not counts.taken + counts.known:
        raise CommandError(f"{file} is no export: {one_line(text(problems[:1]))}")
    for problem in problems[:SHOWN_PROBLEMS]:
        say(one_line(text([problem])))
    if more := max(0, len(problems) - SHOWN_PROBLEMS):
        say(f"and {more} more")
    click.echo(
        f"Results: {counts.taken} new, {counts.known} here already."
        + (f" Events: {counts.events} new." if counts.events else "")
        + (f" Lines left out: {counts.left_out}." if counts.left_out else "")
    )
    return 1 if counts.left_out else 0


def _pieces(file: Path) -> Iterator[tuple[bytes, bool]]:
    """The file in pieces, each with whether it is the last; an empty one is one."""
    try:
        with file.open("rb") as source:
            piece = source.read(IMPORT_PIECE)
            if piece.startswith(DATABASE):
                raise CommandError(
                    f"{file} is a log and no export: `sweepgauge log export --log"
                    f" {file}` makes one"
                )
            while following := source.read(IMPORT_PIECE):
                yield piece, False
                piece = following
            yield piece, True
    except OSError as error:
        raise CommandError(f"{file} cannot be read: {error.strerror}") from error


@contextmanager
def _daemon(socket_path: str | None) -> Iterator[Feed]:
    def words(error: Exception) -> str:
        return f"{error}; what was taken stays, and the same import goes on from there"

    with (
        connect(socket_path) as client,
        command_errors(RequestRefused, ConnectionClosed, words=words),
    ):
        yield lambda piece, last: client.ask(LogImport(piece, last), LogImported)


@contextmanager
def _log_file(path: Path) -> Iterator[Feed]:
    """Through a writer of its own, as the daemon would: refused while one has it."""
    from bench import __version__
    from bench.log.importer import Importer
    from bench.log.rows import now
    from bench.log.writer import LogWriter

    with command_errors(OSError):
        writer = LogWriter.open(
            path,
            boot_id=f"command-{now().wall_s:.0f}",
            program=f"sweepgauge {__version__}",
            on_saved=lambda commit: None,
            on_trouble=lambda words: None,
        )
        importer = Importer()
        with closing(writer):
            yield lambda piece, last: importer.take(writer, piece, last=last)
