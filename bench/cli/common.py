"""Options, paths, requests and errors that the commands share."""

from __future__ import annotations

import functools
import os
import select
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

if TYPE_CHECKING:
    from msgspec import Struct

    from bench.finding import UnreadableRecord
    from bench.protocol import LogQuery
    from bench.protocol.client import WireClient
    from bench.settings.paths import Paths
    from bench.settings.settings_file import Settings
    from bench.units import System

R = TypeVar("R")


class CommandError(Exception):
    """Wrong use or input, in one line: what was wrong, where, what to do. Exit status
    2."""


socket_option = click.option(
    "--socket", "socket_path", metavar="PATH", help="The daemon's socket."
)
settings_option = click.option(
    "--settings", "settings_path", metavar="FILE", help="The settings file."
)
log_option = click.option("--log", "log_path", metavar="FILE", help="The log file.")
json_option = click.option(
    "--json", "as_json", is_flag=True, help="One JSON object on standard output."
)
jig_filter = click.option("--jig", metavar="NAME", help="Only this sled.")
check_filter = click.option("--check", "kind", metavar="KIND", help="Only this check.")
most_option = click.option(
    "--most",
    type=click.IntRange(1, 10000),
    default=50,
    show_default=True,
    help="The latest so many.",
)


class LogSource(NamedTuple):
    """Whose log is asked: that of the daemon at a socket, or of a file."""

    socket: str | None
    file: str | None

    def ask(
        self, message: LogQuery, kind: type[R], settings: Settings | None = None
    ) -> tuple[R, System]:
        """What the log answers, and the units that the daemon shows; of a file by the
        settings."""
        if self.file is None:
            return request(self.socket, message, kind)
        from bench.log.answers import answer

        units: System = settings.units if settings is not None else "mm"
        jigs = settings.gear.jigs if settings is not None else {}
        reply = answer(Path(self.file), message, units=units, jigs=jigs)
        assert isinstance(reply, kind)
        return reply, units


def log_source(f: Callable[..., Any]) -> Callable[..., Any]:
    """--socket and --log, given to the command as `source`."""

    @functools.wraps(f)
    def command(socket_path: str | None, log_path: str | None, **given: Any) -> Any:
        return f(source=LogSource(socket_path, log_path), **given)

    words = "Read this file instead of asking the daemon."
    of_file = click.option("--log", "log_path", metavar="FILE", help=words)
    return socket_option(of_file(command))


def paths(
    *,
    settings: str | None = None,
    log: str | None = None,
    socket: str | None = None,
    client: bool = False,
) -> Paths:
    """client: the socket is wanted to reach a daemon, the service's too."""
    from bench.settings.paths import default_paths

    return default_paths(
        os.environ, settings=settings, log=log, socket=socket, client=client
    )


def load_settings(where: Paths) -> Settings:
    from bench.settings.settings_file import load

    return load(where.settings, where.gear)


def socket_path(given: str | None) -> Path:
    """Only the socket, without reading any settings: `status` must answer at once."""
    return paths(socket=given, client=True).socket


def connect(given: str | None) -> WireClient:
    from bench.protocol.client import WireClient

    return WireClient(socket_path(given), slow=say_slow)


class TypedLines:
    """What is entered while the daemon speaks. open: more may come."""

    def __init__(self) -> None:
        self.open = True

    def wait(self, client: WireClient) -> list[bytes]:
        """Wait up to a second for either; the lines that were entered. They are read
        from the descriptor, so that none hides in a buffer. Raises ConnectionClosed."""
        sources: list[Any] = [client, sys.stdin] if self.open else [client]
        ready, _, _ = select.select(sources, [], [], 1.0)
        if client in ready:
            client.fill()
        if sys.stdin not in ready:
            return []
        data = os.read(sys.stdin.fileno(), 4096)
        self.open = bool(data)
        return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")[:-1]


def request(
    socket: str | None,
    message: Struct,
    kind: type[R],
    *,
    meanwhile: Callable[[Any], None] = lambda said: None,
) -> tuple[R, System]:
    """One request, its answer of that kind, and the units that the daemon shows;
    `meanwhile` hears what is said before the answer."""
    with connect(socket) as client:
        answer = client.ask(message, kind, meanwhile=meanwhile)
        return answer, client.version.units


def length_option(option: str, text: str | None) -> float | None:
    """mm, of a length that was typed. Raises Complaint."""
    from bench.units.parsing import UnitsError, parse_length

    with command_errors(UnitsError, words=lambda error: f"{option}: {error}"):
        return None if text is None else parse_length(text)


def echo_json(answer: object) -> None:
    """One JSON object on standard output."""
    import msgspec

    click.echo(msgspec.json.encode(answer))


def echo_lines(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(line)


def tell(answer: object, lines: Iterable[str], as_json: bool) -> None:
    """The answer itself as JSON, else its lines for a person."""
    if as_json:
        echo_json(answer)
    else:
        echo_lines(lines)


@contextmanager
def command_errors(
    *kinds: type[Exception], words: Callable[[Any], str] = str
) -> Iterator[None]:
    """Errors of these kinds are the person's to mend. words: of an error; its own."""
    try:
        yield
    except kinds as error:
        raise CommandError(words(error)) from error


def tell_unread(unread: list[UnreadableRecord]) -> int:
    """The exit status: what could not be read is bad news, and is told beside what
    could."""
    if unread:
        from bench.render.finding import unread_words

        say(unread_words(unread))
    return bool(unread)


def say(words: str) -> None:
    """Words for the person go to standard error; standard output is for the answer."""
    click.echo(words, err=True)


def say_slow() -> None:
    say("The daemon is slow to answer. It is waited for; Ctrl-C leaves.")


def exit_status(verdicts: list[str | None]) -> int:
    """1 where any verdict is bad news."""
    return 1 if any(v in ("outside", "cannot-tell") for v in verdicts) else 0
