"""What the commands share: options, paths, requests, errors for the person."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from msgspec import Struct

    from bench.protocol.client import WireClient
    from bench.settings.paths import Paths
    from bench.settings.settings_file import Settings
    from bench.units import System

R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])


class Complaint(Exception):
    """Wrong use or input, in one line: what was wrong, where, what to do. Exit status
    2."""


def socket_option(f: F) -> F:
    return click.option(
        "--socket", "socket_path", metavar="PATH", help="The daemon's socket."
    )(f)


def settings_option(f: F) -> F:
    return click.option(
        "--settings", "settings_path", metavar="FILE", help="The settings file."
    )(f)


def log_option(f: F) -> F:
    return click.option("--log", "log_path", metavar="FILE", help="The log file.")(f)


def json_option(f: F) -> F:
    return click.option(
        "--json", "as_json", is_flag=True, help="One JSON object on standard output."
    )(f)


def paths(
    *,
    settings: str | None = None,
    log: str | None = None,
    socket: str | None = None,
    client: bool = False,
) -> Paths:
    """client: the socket is wanted to reach a daemon, the service's too."""
    from bench.settings.paths import SettingsError, default_paths

    try:
        return default_paths(
            os.environ, settings=settings, log=log, socket=socket, client=client
        )
    except SettingsError as error:
        raise Complaint(str(error)) from error


def load_settings(where: Paths, *, gear: bool = True) -> Settings:
    from bench.settings.settings_file import SettingsError, load

    try:
        return load(where.settings, where.gear if gear else None)
    except SettingsError as error:
        raise Complaint(str(error)) from error


def socket_path(given: str | None) -> Path:
    """Only the socket, without reading any settings: `status` must answer at once."""
    return paths(socket=given, client=True).socket


def connect(given: str | None) -> WireClient:
    from bench.protocol.client import NoDaemon, WireClient

    try:
        return WireClient(socket_path(given), slow=say_slow)
    except NoDaemon as error:
        raise Complaint(str(error)) from error


def request(
    socket: str | None,
    message: Struct,
    kind: type[R],
    *,
    meanwhile: Callable[[Any], None] = lambda said: None,
) -> tuple[R, System]:
    """One request, its answer of that kind, and the units that the daemon shows;
    `meanwhile` hears what is said before the answer."""
    from bench.protocol.client import Gone, NoDaemon, Refused

    try:
        with connect(socket) as client:
            answer = client.ask(message, kind, meanwhile=meanwhile)
            return answer, client.version.units
    except (Refused, Gone, NoDaemon) as error:
        raise Complaint(str(error)) from error


def say(words: str) -> None:
    """Words for the person go to standard error; standard output is for the answer."""
    click.echo(words, err=True)


def say_slow() -> None:
    say("The daemon is slow to answer. It is waited for; Ctrl-C leaves.")


def worst(verdicts: list[str | None]) -> int:
    """1 where any verdict is bad news."""
    return 1 if any(v in ("outside", "cannot-tell") for v in verdicts) else 0
