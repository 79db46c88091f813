"""`sweepgauge watch`."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import click

from bench.cli.common import Complaint, connect, json_option, socket_option

if TYPE_CHECKING:
    from bench.protocol import StatusReply
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
    from bench.protocol import GetStatus, StatusReply, Watch
    from bench.protocol.client import Gone, NoDaemon

    until = None if seconds is None else time.monotonic() + seconds
    try:
        with connect(socket_path) as client:
            teller = (
                _Plain(client.version.units)
                if plain
                else _Json()
                if as_json
                else _Lines()
            )
            client.send(GetStatus())
            client.send(Watch())
            while until is None or time.monotonic() < until:
                left = None if until is None else until - time.monotonic()
                message = client.next(
                    1.0 if left is None else max(0.01, min(1.0, left))
                )
                if isinstance(message, StatusReply) and instrument is not None:
                    refuse_unknown(message, instrument)
                teller.hear(message, instrument)
    except Gone as error:
        raise Complaint(f"the daemon went away ({error})") from error
    except NoDaemon as error:
        raise Complaint(str(error)) from error
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


class _Lines:
    def hear(self, message: object, only: str | None) -> None:
        from bench.protocol import InstrumentState, Notice, Readings, Rejected
        from hw.formats import meaning_of

        if isinstance(message, Notice):
            click.echo(message.words, err=True)
        elif isinstance(message, InstrumentState) and only in (None, message.name):
            click.echo(
                f"{message.name}: {message.words.removeprefix(f'The {message.name} ')}",
                err=True,
            )
        elif isinstance(message, Readings) and only in (None, message.instrument):
            for value in message.values:
                click.echo(f"{message.instrument} {value:.4f} mm")
        elif isinstance(message, Rejected) and only in (None, message.instrument):
            said = f"rejected: {message.fault}"
            if message.status is not None:
                said = (
                    f"has no reading: {message.status}"
                    f" ({meaning_of(message.status)[0]})"
                )
            click.echo(f"{message.instrument} {said}", err=True)


class _Json:
    def hear(self, message: object, only: str | None) -> None:
        import msgspec

        from bench.protocol import Readings, Rejected

        if isinstance(message, Readings) and only in (None, message.instrument):
            for at, value in zip(message.at, message.values, strict=True):
                line = {
                    "value": value,
                    "unit": message.unit,
                    "instrument": message.instrument,
                    "at": round(at, 6),
                    "flags": message.flags,
                    "status": None,
                    "fault": None,
                }
                click.echo(msgspec.json.encode(line))
        elif isinstance(message, Rejected) and only in (None, message.instrument):
            line = {
                "value": None,
                "unit": "mm",
                "instrument": message.instrument,
                "at": round(message.at, 6),
                "flags": [],
                "status": message.status,
                "fault": message.fault,
                "raw": message.raw,
            }
            click.echo(msgspec.json.encode(line))


class _Plain:
    """For a screen reader: whole sentences, only when something changed, not more than
    one a second."""

    STEP = 0.005  # mm; less is the last digit flickering

    def __init__(self, units: System = "mm") -> None:
        self._units = units
        self._said: dict[str, str] = {}
        self._values: dict[str, float] = {}
        self._due = 0.0
        # what it is about, and the sentence; what is in _first does not wait for the
        # rest
        self._first: list[tuple[str, str]] = []
        self._queue: list[tuple[str, str]] = []
        self._last = ""

    def hear(self, message: object, only: str | None) -> None:
        from bench.protocol import (
            Asking,
            Concluded,
            InstrumentState,
            Notice,
            Readings,
            StatusReply,
            SweepSaid,
        )

        if isinstance(message, StatusReply):
            for one in message.instruments:
                self.hear(one, only)
        elif isinstance(message, InstrumentState) and only in (None, message.name):
            if self._said.get(message.name) != message.words:
                self._said[message.name] = message.words
                # only how it is now is worth telling late
                self._first = [one for one in self._first if one[0] != message.name]
                whose = (
                    "" if message.name in message.words.lower() else f"{message.name}: "
                )
                self._first.append((message.name, whose + message.words))
        elif isinstance(message, Readings) and only in (None, message.instrument):
            value = message.values[-1]
            before = self._values.get(message.instrument)
            if before is None or abs(value - before) >= self.STEP:
                self._pending(message.instrument, value)
        elif isinstance(message, SweepSaid) and message.words:
            first = message.state == "refused"  # before the sled is pushed on in vain
            (self._first if first else self._queue).append(("", message.words))
        elif isinstance(message, Notice) and message.words != self._said.get(
            message.about
        ):
            self._queue.append(("", message.words))
        elif (
            isinstance(message, Asking)
            and message.ask is not None
            and message.ask.words != self._said.get("ask")
        ):
            self._said["ask"] = message.ask.words
            self._asks_no_more()
            self._queue.append(("ask", message.ask.words))
        elif isinstance(message, Concluded):
            from bench.render.finding import finding_words

            self._asks_no_more()
            self._queue.extend(
                ("", line.strip())
                for line in finding_words(message.finding, self._units)
            )
        self._tell(time.monotonic())

    def _tell(self, now: float) -> None:
        while (waiting := self._first or self._queue) and now >= self._due:
            words = waiting.pop(0)[1]
            if words != self._last:
                click.echo(words)
                self._due = now + 1.0
            self._last = words

    def _asks_no_more(self) -> None:
        """What was asked before and not yet told is done, or never was to be."""
        self._queue = [one for one in self._queue if one[0] != "ask"]

    def _pending(self, instrument: str, value: float) -> None:
        if self._first or self._queue or time.monotonic() < self._due:
            # the newest value is told when there is room; old ones are not worth a
            # sentence
            return
        self._values[instrument] = value
        shown = f"{value / 25.4:.4f} in" if self._units == "inch" else f"{value:.3f} mm"
        self._queue.append(("", f"{instrument} reads {shown}."))
