"""`sweepgauge watch`: live readings as lines, as JSON, or as sentences."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Protocol

import click

from bench.cli.common import (
    Complaint,
    connect,
    echo_json,
    json_option,
    socket_option,
)
from bench.protocol import (
    Concluded,
    GetStatus,
    InstrumentState,
    Notice,
    PassNotice,
    PromptChanged,
    Readings,
    Rejected,
    StatusReply,
    Watch,
)
from bench.protocol.client import Gone
from bench.render.wording import with_name, without_name
from bench.units import System


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
    try:
        with connect(socket_path) as client:
            output: _Output = _Lines()
            if plain:
                output = _Sentences(client.version.units, instrument)
            elif as_json:
                output = _Json()
            client.send(GetStatus())
            client.send(Watch())
            while until is None or time.monotonic() < until:
                left = 1.0 if until is None else until - time.monotonic()
                message = client.next(max(0.01, min(1.0, left)))
                if isinstance(message, StatusReply) and instrument is not None:
                    refuse_unknown(message, instrument)
                if _is_of(message, instrument):
                    output.show(message)
    except Gone as error:
        raise Complaint(f"the daemon went away ({error})") from error
    except KeyboardInterrupt:
        pass
    return 0


def refuse_unknown(status: StatusReply, name: str) -> None:
    """Waiting for ever for a name that nothing has looks like an instrument that is
    silent."""
    names = [one.name for one in status.instruments]
    if names and name not in names:
        raise Complaint(
            f"no instrument is called {name!r}; there are: {', '.join(names)}"
        )


def _is_of(message: object, name: str | None) -> bool:
    """Whether a message is of this instrument, or of no one; None is any instrument."""
    own = getattr(message, "instrument", None)
    if isinstance(message, InstrumentState):
        own = message.name
    return name is None or own is None or own == name


class _Output(Protocol):
    def show(self, message: object) -> None: ...


class _Lines:
    def show(self, message: object) -> None:
        from hw.formats import meaning_of

        if isinstance(message, Notice):
            click.echo(message.words, err=True)
        elif isinstance(message, InstrumentState):
            words = without_name(message.name, message.words)
            click.echo(f"{message.name}: {words}", err=True)
        elif isinstance(message, Readings):
            for value in message.values:
                click.echo(f"{message.instrument} {value:.4f} mm")
        elif isinstance(message, Rejected):
            words = f"rejected: {message.fault}"
            if (status := message.status) is not None:
                words = f"has no reading: {status} ({meaning_of(status)[0]})"
            click.echo(f"{message.instrument} {words}", err=True)


class _Json:
    def show(self, message: object) -> None:
        if isinstance(message, Readings):
            for at, value in zip(message.at, message.values, strict=True):
                _line(message.instrument, at, value, message.unit, message.flags)
        elif isinstance(message, Rejected):
            _line(
                message.instrument,
                message.at,
                status=message.status,
                fault=message.fault,
                raw=message.raw,
            )


def _line(
    instrument: str,
    at: float,
    value: float | None = None,
    unit: str = "mm",
    flags: Sequence[str] = (),
    status: str | None = None,
    fault: str | None = None,
    **more: str,
) -> None:
    said = {"value": value, "unit": unit, "instrument": instrument}
    why = {"flags": flags, "status": status, "fault": fault}
    echo_json({**said, "at": round(at, 6), **why, **more})


class _Sentences:
    """For a screen reader: whole sentences, only of changes, at most one a second."""

    STEP = 0.005  # mm; a smaller change is the last digit flickering

    def __init__(self, units: System, instrument: str | None) -> None:
        self._units = units
        self._instrument = instrument
        self._words: dict[str, str] = {}  # the last ones, by what they are about
        self._values: dict[str, float] = {}
        self._due = 0.0
        # (what it is about, the sentence); the urgent ones go first
        self._urgent: list[tuple[str, str]] = []
        self._queue: list[tuple[str, str]] = []
        self._last = ""

    def show(self, message: object) -> None:
        if isinstance(message, StatusReply):
            for one in message.instruments:
                if _is_of(one, self._instrument):
                    self._state(one)
        elif isinstance(message, InstrumentState):
            self._state(message)
        elif isinstance(message, Readings):
            self._value(message.instrument, message.values[-1])
        elif isinstance(message, PassNotice) and message.words:
            # a refused pass is told before the sled is pushed on in vain
            urgent = message.state == "refused"
            (self._urgent if urgent else self._queue).append(("", message.words))
        elif isinstance(message, Notice) and message.words != self._words.get(
            message.about
        ):
            self._queue.append(("", message.words))
        elif (
            isinstance(message, PromptChanged)
            and message.ask is not None
            and message.ask.words != self._words.get("ask")
        ):
            self._words["ask"] = message.ask.words
            self._drop_prompt()
            self._queue.append(("ask", message.ask.words))
        elif isinstance(message, Concluded):
            from bench.render.finding import finding_words

            self._drop_prompt()
            self._queue.extend(
                ("", line.strip())
                for line in finding_words(message.finding, self._units)
            )
        self._print(time.monotonic())

    def _state(self, one: InstrumentState) -> None:
        if self._words.get(one.name) == one.words:
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
