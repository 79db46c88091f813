"""What the commands share: options, paths, requests, errors for the person."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from msgspec import Struct

    from bench.finding import Unread
    from bench.protocol import LogQuestion
    from bench.protocol.client import WireClient
    from bench.settings.paths import Paths
    from bench.settings.settings_file import Settings
    from bench.units import System

R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])


class Complaint(Exception):
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
only_jig_option = click.option("--jig", metavar="NAME", help="Only this sled.")
only_check_option = click.option(
    "--check", "kind", metavar="KIND", help="Only this check."
)
most_option = click.option(
    "--most",
    type=click.IntRange(1, 10000),
    default=50,
    show_default=True,
    help="The latest so many.",
)


def whose_log(f: F) -> F:
    """--socket and --log: the log of a daemon, or that of a file."""
    of_file = click.option(
        "--log",
        "log_path",
        metavar="FILE",
        help="Read this file instead of asking the daemon.",
    )
    return socket_option(of_file(f))


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


def load_settings(where: Paths, *, gear: bool = True) -> Settings:
    from bench.settings.settings_file import load

    return load(where.settings, where.gear if gear else None)


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
        from the descriptor, so that none hides in a buffer. Raises Gone."""
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


def ask_log(
    socket: str | None, log_path: str | None, message: LogQuestion, kind: type[R]
) -> tuple[R, System]:
    """What a log answers: that of the daemon, with the units that it shows, or that of
    a file."""
    if log_path is None:
        return request(socket, message, kind)
    from bench.log.answers import answer

    reply = answer(Path(log_path), message)
    assert isinstance(reply, kind)
    return reply, "mm"


def length_option(option: str, text: str | None) -> float | None:
    """mm, of a length that was typed. Raises Complaint."""
    from bench.units import UnitsError, parse_length

    try:
        return None if text is None else parse_length(text)
    except UnitsError as error:
        raise Complaint(f"{option}: {error}") from error


def echo_json(answer: object) -> None:
    """One JSON object on standard output."""
    import msgspec

    click.echo(msgspec.json.encode(answer))


def tell_unread(unread: list[Unread]) -> int:
    """The exit status: what could not be read is bad news, and is told beside what
    could."""
    if not unread:
        return 0
    from bench.render.finding import unread_words

    say(unread_words(unread))
    return 1


def say(words: str) -> None:
    """Words for the person go to standard error; standard output is for the answer."""
    click.echo(words, err=True)


def say_slow() -> None:
    say("The daemon is slow to answer. It is waited for; Ctrl-C leaves.")


def worst(verdicts: list[str | None]) -> int:
    """1 where any verdict is bad news."""
    return 1 if any(v in ("outside", "cannot-tell") for v in verdicts) else 0
