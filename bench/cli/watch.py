"""`sweepgauge watch`: live readings as lines, as JSON, or as sentences."""

from __future__ import annotations

import time
from contextlib import suppress
from typing import Any

import click

from bench import protocol
from bench.cli.common import (
    CommandError,
    command_errors,
    connect,
    echo_json,
    json_option,
    socket_option,
)
from bench.protocol.client import ConnectionClosed
from bench.render.printed_result import result_lines
from bench.render.wording import with_name, without_name
from bench.units import System
from hw.formats import meaning_of


@click.command()
@socket_option
@json_option
@click.option(
    "--plain",
    is_flag=True,
    help="One sentence per change, one line a second at the most.",
)
@click.option("--instrument", metavar="NAME", help="Only this one.")
@click.option("--seconds", type=click.FloatRange(min=0), help="Stop after so long.")
def watch(
    socket_path: str | None,
    as_json: bool,
    plain: bool,
    instrument: str | None,
    seconds: float | None,
) -> int:
    """Live readings, one line each, until Ctrl-C.

    Example:  sweepgauge watch --json | head
    """
    until = None if seconds is None else time.monotonic() + seconds
    away = command_errors(
        ConnectionClosed, words=lambda error: f"the daemon went away ({error})"
    )
    with suppress(KeyboardInterrupt), away, connect(socket_path) as client:
        said = _show_json if as_json else _show_line
        show = _Sentences(client.version.units, instrument).show if plain else said
        client.send(protocol.GetStatus())
        client.send(protocol.Watch())
        while until is None or time.monotonic() < until:
            left = 1.0 if until is None else until - time.monotonic()
            message = client.next(max(0.01, min(1.0, left)))
            if isinstance(message, protocol.StatusReply) and instrument is not None:
                refuse_unknown(message, instrument)
            if _is_of(message, instrument):
                show(message)
    return 0


def refuse_unknown(status: protocol.StatusReply, name: str) -> None:
    """Waiting for ever for a name that nothing has looks like an instrument that is
    silent."""
    names = [one.name for one in status.instruments]
    if names and name not in names:
        raise CommandError(
            f"no instrument is called {name!r}; there are: {', '.join(names)}"
        )


def _is_of(message: object, name: str | None) -> bool:
    """Whether a message is of this instrument, or of no one; None is any instrument."""
    own = getattr(message, "instrument", None)
    if isinstance(message, protocol.InstrumentState):
        own = message.name
    return name is None or own is None or own == name


def _show_line(message: object) -> None:
    match message:
        case protocol.Notice():
            click.echo(message.words, err=True)
        case protocol.InstrumentState():
            words = without_name(message.name, message.words)
            click.echo(f"{message.name}: {words}", err=True)
        case protocol.Readings():
            for value in message.values:
                click.echo(f"{message.instrument} {value:.4f} mm")
        case protocol.RejectedFrame():
            words = f"rejected: {message.fault}"
            if (status := message.status) is not None:
                words = f"has no reading: {status} ({meaning_of(status)[0]})"
            click.echo(f"{message.instrument} {words}", err=True)


def _show_json(message: object) -> None:
    if isinstance(message, protocol.Readings):
        for at, value in zip(message.at, message.values, strict=True):
            said = {"value": value, "unit": message.unit, "flags": message.flags}
            _object(message.instrument, at, said)
    elif isinstance(message, protocol.RejectedFrame):
        why = ("status", "fault", "raw")
        said = {name: getattr(message, name) for name in why}
        _object(message.instrument, message.at, said)


def _object(instrument: str, at: float, said: dict[str, Any]) -> None:
    of = {"value": None, "unit": "mm", "instrument": instrument, "at": round(at, 6)}
    echo_json(of | {"flags": (), "status": None, "fault": None} | said)


class _Sentences:
    """For a screen reader: whole sentences, only of changes, at most one a second."""

    STEP = 0.005  # mm; a smaller change is the last digit flickering

    def __init__(self, units: System, instrument: str | None) -> None:
        self._units = units
        self._instrument = instrument
        self._words: dict[str, str] = {}  # the last ones, by what they are about
        self._values: dict[str, float] = {}
        self._due = 0.0
        # (what it is about, the sentence); the urgent ones go first: a refused pass is
        # told before the sled is pushed on in vain
        self._urgent: list[tuple[str, str]] = []
        self._queue: list[tuple[str, str]] = []
        self._last = ""

    def show(self, message: object) -> None:
        match message:
            case protocol.StatusReply():
                for one in message.instruments:
                    self._state(one)
            case protocol.InstrumentState():
                self._state(message)
            case protocol.Readings():
                self._value(message.instrument, message.values[-1])
            case protocol.PassNotice() if message.words:
                urgent = message.state == "refused"
                (self._urgent if urgent else self._queue).append(("", message.words))
            case protocol.Notice() if message.words != self._words.get(message.about):
                self._queue.append(("", message.words))
            case protocol.PromptChanged():
                self._prompt(message.ask)
            case protocol.FindingNotice():
                self._drop_prompt()
                for line in result_lines(message.finding, self._units):
                    self._queue.append(("", line.strip()))
        self._print(time.monotonic())

    def _prompt(self, ask: protocol.Prompt | None) -> None:
        if ask is not None and ask.words != self._words.get("ask"):
            self._words["ask"] = ask.words
            self._drop_prompt()
            self._queue.append(("ask", ask.words))

    def _state(self, one: protocol.InstrumentState) -> None:
        if self._words.get(one.name) == one.words or not _is_of(one, self._instrument):
            return
        self._words[one.name] = one.words
        # an older state that waits is of no use any more
        self._urgent = [waiting for waiting in self._urgent if waiting[0] != one.name]
        self._urgent.append((one.name, with_name(one.name, one.words)))

    def _value(self, instrument: str, value: float) -> None:
        """The newest value, where it changed and no other sentence waits."""
        before = self._values.get(instrument)
        if before is not None and abs(value - before) < self.STEP:
            return
        if self._urgent or self._queue or time.monotonic() < self._due:
            return
        self._values[instrument] = value
        shown = f"{value / 25.4:.4f} in" if self._units == "inch" else f"{value:.3f} mm"
        self._queue.append(("", f"{instrument} reads {shown}."))

    def _print(self, now: float) -> None:
        while (waiting := self._urgent or self._queue) and now >= self._due:
            words = waiting.pop(0)[1]
            if words != self._last:
                click.echo(words)
                self._due = now + 1.0
            self._last = words

    def _drop_prompt(self) -> None:
        """A prompt that waits is done, or is asked no more."""
        self._queue = [one for one in self._queue if one[0] != "ask"]
