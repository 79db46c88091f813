"""`sweepgauge learn`: finds the cables and proves them without a screen."""

from __future__ import annotations

import time
from typing import Literal

import click
import msgspec

from bench.cli.common import (
    Complaint,
    TypedLines,
    connect,
    echo_json,
    json_option,
    length_option,
    say,
    socket_option,
)
from bench.protocol import Cables, Error, Learn, Press, SetupNotice
from bench.protocol.client import Gone, Refused, WireClient

NONE_YET = 3.0  # s after which it is said that no cable is heard
What = Literal["indicator", "travel", "leaf"]


@click.command()
@click.argument("what", type=click.Choice(["indicator", "travel", "leaf"]))
@click.option(
    "--leaf",
    metavar="LENGTH",
    help="The leaf's thickness, with its unit.  [default: 0.10 mm]",
)
@socket_option
@json_option
def learn(what: What, leaf: str | None, socket_path: str | None, as_json: bool) -> int:
    """Find the indicator's cable by its plunger, the travel's by the sled. Or prove
    with a leaf.

    Enter keeps what is found in the settings file; the running daemon reads it at once.
    A contradiction ends it with status 1, and nothing is kept.

    Example:  sweepgauge learn indicator
    """
    thickness = length_option("--leaf", leaf)
    if thickness is not None and what != "leaf":
        raise Complaint(f"--leaf goes with `learn leaf`, not with `learn {what}`")
    try:
        with connect(socket_path) as client:
            end = _Leading(client).run(what, thickness)
    except Gone as error:
        raise Complaint(
            f"the daemon went away ({error}); what was not kept is not written: learn"
            " it again"
        ) from error
    if as_json:
        answer = msgspec.to_builtins(end)
        for name in ("type", "enter", "step", "on"):
            answer.pop(name, None)
        echo_json(answer)
    return 0 if end.phase == "kept" and end.recorded else 1


class _Leading:
    """The conversation: words of the daemon on standard error, Enters from standard
    input."""

    def __init__(self, client: WireClient) -> None:
        self.client = client
        self.enter = False  # an Enter is asked for
        self.early = False  # an Enter that came before it was asked for
        self._typed = TypedLines()
        self._cables: dict[str, str] = {}  # state of each, by name
        self._began = time.monotonic()
        self._none_said = False

    def run(self, what: What, leaf: float | None) -> SetupNotice:
        self.client.send(Learn(what, leaf=leaf, ref=1))
        try:
            while True:
                end = self._listen(what)
                if end is not None:
                    return end
        except KeyboardInterrupt:
            self.client.send(Learn(what, on=False))
            raise Complaint("left; nothing was changed") from None

    def _listen(self, what: What) -> SetupNotice | None:
        for message in self.client.waiting():
            if isinstance(message, Cables):
                self._heard(message)
            if isinstance(message, Error) and message.ref == 1:
                raise Refused(message)
            if (
                isinstance(message, SetupNotice)
                and message.what == what
                and self._hear(message)
            ):
                return message
        self.early = bool(self._typed.wait(self.client)) or self.early
        self._press()
        self._none(what)
        return None

    def _heard(self, message: Cables) -> None:
        """What is listened to, each time that a cable does otherwise: a plunger that
        nobody hears is no good."""
        for cable in message.cables:
            if (
                cable.state != "listening"
                and self._cables.get(cable.name) != cable.state
            ):
                say(f"  {cable.name}: {cable.words}")
            self._cables[cable.name] = cable.state

    def _none(self, what: What) -> None:
        late = time.monotonic() - self._began > NONE_YET
        if late and what != "leaf" and not self._cables and not self._none_said:
            self._none_said = True
            say(
                "  No cable is heard yet: plug it in. `sweepgauge doctor` says what"
                " this machine sees."
            )

    def _hear(self, message: SetupNotice) -> bool:
        """True when it is over."""
        if message.words:
            say(message.words + (" Enter keeps it." if message.phase == "seen" else ""))
        self.enter = message.enter
        if message.phase == "asking" and not message.enter:
            # what was pressed while nothing was seen yet answers nothing
            self.early = False
        return not message.on or message.phase in ("kept", "failed")

    def _press(self) -> None:
        if self.early and self.enter:
            self.early = self.enter = False
            self.client.send(Press(waits=False))
