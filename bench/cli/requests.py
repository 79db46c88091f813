"""`sweepgauge moved`, `undo`, `abandon`, `event`: one request to the daemon, and its
answer."""

from __future__ import annotations

from typing import Any

import click

from bench.cli.common import length_option, request, say, socket_option
from bench.protocol import Abandon, Done, NoteEvent, NoteMove, Recording, Undo

GEAR_EVENTS = ("dropped", "moved", "runners", "blade", "saw", "square", "accepted")


@click.command()
@click.option(
    "--jig", metavar="NAME", help="The sled; the latest result with a move by default."
)
@click.option(
    "--distance",
    metavar="LENGTH",
    help="How far it was moved; as the result said by default.",
)
@click.option(
    "--how", default="", metavar="WORDS", help="How: leaves, live, jack screw."
)
@socket_option
def moved(
    jig: str | None, distance: str | None, how: str, socket_path: str | None
) -> int:
    """Note that the move of the last result was made. The next check then judges it.
    Exit 1: not recorded.

    Example:  sweepgauge moved --distance "0.15 mm" --how leaves
    """
    length = length_option("--distance", distance)
    return _ask(socket_path, NoteMove(jig=jig, distance=length, how=how))


@click.command()
@socket_option
def undo(socket_path: str | None) -> int:
    """Take back the last pass of the check in progress. Of a pass not yet whole it is
    the last mark.

    Example:  sweepgauge undo
    """
    return _ask(socket_path, Undo())


@click.command()
@socket_option
def abandon(socket_path: str | None) -> int:
    """Give up the check in progress; what was measured stays in the log.

    Example:  sweepgauge abandon
    """
    return _ask(socket_path, Abandon())


@click.command()
@click.option("--jig", metavar="NAME", required=True, help="The sled.")
@click.argument("what", type=click.Choice(GEAR_EVENTS))
@click.option("--note", default="", metavar="TEXT", help="What more there is to say.")
@click.option("--at", metavar="DATE", help="When; now by default.")
@socket_option
def event(socket_path: str | None, **happened: Any) -> int:
    """Note what happened: the charts begin anew from there, an alarm is answered.

    Example:  sweepgauge event --jig big-sled dropped --note "off the bench"
    """
    return _ask(socket_path, NoteEvent(**happened))


def _ask(socket: str | None, message: Any) -> int:
    """Send it and print the daemon's answer; 1 where the answer is not recorded."""

    def tell_recording(said: Any) -> None:
        if isinstance(said, Recording) and said.state != "recording":
            say(said.words)

    answer, _ = request(socket, message, Done, meanwhile=tell_recording)
    click.echo(answer.text, err=not answer.recorded)
    return 0 if answer.recorded else 1
