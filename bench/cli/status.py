"""`sweepgauge status`: instruments, the check in progress, the last results."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from bench.cli.common import echo_json, json_option, request, socket_option
from bench.render.wording import without_name, without_port

if TYPE_CHECKING:
    from bench.protocol import InstrumentState, StatusReply


@click.command()
@socket_option
@json_option
def status(socket_path: str | None, as_json: bool) -> int:
    """Instruments, the check in progress, the last results.

    Example:  sweepgauge status --json
    """
    from bench.protocol import GetStatus, StatusReply

    reply, units = request(socket_path, GetStatus(), StatusReply)
    if as_json:
        echo_json(reply)
        return 0
    from bench.render.result import result_lines

    for line in _lines(reply):
        click.echo(line)
    for finding in reply.last:
        click.echo(f"{finding.at}  {finding.id}")
        for line in result_lines(finding, units)[:2]:
            click.echo(f"  {line}")
    return 0


def _lines(reply: StatusReply) -> Iterator[str]:
    yield f"{reply.program}; log {reply.log}: {reply.recording}"
    yield from (f"note: {note}" for note in reply.notes)
    if not any(one.state != "marks" for one in reply.instruments):
        yield (
            "no instrument is set up: `sweepgauge learn indicator` finds it;"
            " `sweepgauge demo` pretends a saw"
        )
    yield from map(_instrument, reply.instruments)
    run = reply.run
    if run is None:
        yield "no check in progress"
    else:
        sled = run.jig or "no named sled"
        yield f"in progress: {run.check} of {sled}; {run.ask.words}"


def _instrument(one: InstrumentState) -> str:
    words = without_name(one.name, without_port(one.name, one.port, one.words))
    if one.value is None:
        return f"{one.name}: {words}"
    rate = f", {one.rate:.0f} a second" if one.rate else ""
    return (
        f"{one.name}: {words} {one.value:.3f} mm (shows {one.unit}), {one.age or 0:.1f}"
        f" s old{rate}, {one.rejects} rejected."
    )
