"""`sweepgauge event`: what happened to a sled, its saw or its square."""

from __future__ import annotations

import click

from bench.cli.check_requests import one_request
from bench.cli.common import socket_option
from bench.protocol import NoteEvent

WHAT = ("dropped", "moved", "runners", "blade", "saw", "square", "accepted")


@click.command()
@click.option("--jig", metavar="NAME", required=True, help="The sled.")
@click.argument("what", type=click.Choice(WHAT))
@click.option("--note", default="", metavar="TEXT", help="What more there is to say.")
@click.option("--at", metavar="DATE", help="When; now by default.")
@socket_option
def event(
    jig: str, what: str, note: str, at: str | None, socket_path: str | None
) -> int:
    """Note what happened: the charts begin anew from there, an alarm is answered.

    Example:  sweepgauge event --jig big-sled dropped --note "off the bench"
    """
    # click has seen to it that it is one of them
    message = NoteEvent(jig=jig, what=what, note=note, at=at)  # type: ignore[arg-type]
    return one_request(socket_path, message)
