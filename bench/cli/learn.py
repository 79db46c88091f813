"""`sweepgauge learn`: finds the cables and proves them without a screen."""

from __future__ import annotations

import math
import time

import click
import msgspec

from bench.cli.common import (
    CommandError,
    TypedLines,
    command_errors,
    connect,
    echo_json,
    json_option,
    length_option,
    say,
    socket_option,
)
from bench.protocol import Cables, Error, Learn, Press, SetupNotice, SetupSubject
from bench.protocol.client import ConnectionClosed, RequestRefused, WireClient

NONE_YET = 3.0  # s after which it is said that no cable is heard
NONE_HEARD = (
    "  No cable is heard yet: plug it in. `sweepgauge doctor` says what this machine"
    " sees."
)


@click.command()
@click.argument("what", type=click.Choice(["indicator", "travel", "leaf"]))
@click.option(
    "--leaf",
    metavar="LENGTH",
    help="The leaf's thickness, with its unit.  [default: 0.10 mm]",
)
@socket_option
@json_option
def learn(
    what: SetupSubject, leaf: str | None, socket_path: str | None, as_json: bool
) -> int:
    """Find the indicator's cable by its plunger, the travel's by the sled. Or prove
    with a leaf.

    Enter keeps what is found in the settings file; the running daemon reads it at once.
    A contradiction ends it with status 1, and nothing is kept.

    Example:  sweepgauge learn indicator
    """
    thickness = length_option("--leaf", leaf)
    if thickness is not None and what != "leaf":
        raise CommandError(f"--leaf goes with `learn leaf`, not with `learn {what}`")
    away = command_errors(
        ConnectionClosed,
        words=lambda error: (
            f"the daemon went away ({error}); what was not kept is not written: learn"
            " it again"
        ),
    )
    with away, connect(socket_path) as client:
        try:
            end = _lead(client, Learn(what, leaf=thickness, ref=1))
        except KeyboardInterrupt:
            client.send(Learn(what, on=False))
            raise CommandError("left; nothing was changed") from None
    if as_json:
        answer = msgspec.to_builtins(end)
        for name in ("type", "enter", "step", "on"):
            answer.pop(name, None)
        echo_json(answer)
    return 0 if end.phase == "kept" and end.recorded else 1


def _lead(client: WireClient, wanted: Learn) -> SetupNotice:
    """Words of the daemon on standard error, Enters from standard input, until it is
    over."""
    typed, cables = TypedLines(), dict[str, str]()
    asked = early = False  # an Enter is asked for; one came before it was
    tell_none_at = time.monotonic() + NONE_YET if wanted.what != "leaf" else math.inf
    client.send(wanted)
    while True:
        for message in client.waiting():
            match message:
                case Cables():
                    _tell_cables(message, cables)
                case Error(ref=wanted.ref):
                    raise RequestRefused(message)
                case SetupNotice(what=wanted.what):
                    _tell_notice(message)
                    asked = message.enter
                    # what was pressed while nothing was seen yet answers nothing
                    early = early and (asked or message.phase != "asking")
                    if not message.on or message.phase in ("kept", "failed"):
                        return message
        early = bool(typed.wait(client)) or early
        if early and asked:
            early = asked = False
            client.send(Press(waits=False))
        if not cables and time.monotonic() > tell_none_at:
            tell_none_at = math.inf
            say(NONE_HEARD)


def _tell_cables(message: Cables, states: dict[str, str]) -> None:
    """What is listened to, each time that a cable does otherwise: a plunger that nobody
    hears is no good. states: told so far, by name."""
    for cable in message.cables:
        if cable.state not in ("listening", states.get(cable.name)):
            say(f"  {cable.name}: {cable.words}")
        states[cable.name] = cable.state


def _tell_notice(message: SetupNotice) -> None:
    if message.words:
        say(message.words + (" Enter keeps it." if message.phase == "seen" else ""))
