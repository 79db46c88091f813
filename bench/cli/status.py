"""`sweepgauge status`: instruments, the check in progress, the last results."""

from __future__ import annotations

from collections.abc import Iterator

import click

from bench.cli.common import json_option, request, socket_option, tell
from bench.protocol import GetStatus, InstrumentState, StatusReply
from bench.render.wording import without_name, without_port
from bench.units import System


@click.command()
@socket_option
@json_option
def status(socket_path: str | None, as_json: bool) -> int:
    """Instruments, the check in progress, the last results.

    Example:  sweepgauge status --json
    """
    reply, units = request(socket_path, GetStatus(), StatusReply)
    tell(reply, _lines(reply, units), as_json)
    return 0


def _lines(reply: StatusReply, units: System) -> Iterator[str]:
    yield f"{reply.program}; log {reply.log}: {reply.recording}"
    yield from (f"note: {note}" for note in reply.notes)
    if not any(one.state != "marks" for one in reply.instruments):
        yield (
            "no instrument is set up: `sweepgauge learn indicator` finds it;"
            " `sweepgauge demo` pretends a saw"
        )
    yield from map(_instrument, reply.instruments)
    if (run := reply.run) is None:
        yield "no check in progress"
    else:
        sled = run.jig or "no named sled"
        yield f"in progress: {run.check} of {sled}; {run.ask.words}"
    from bench.render.printed_result import result_lines

    for finding in reply.last:
        yield f"{finding.at}  {finding.id}"
        yield from (f"  {line}" for line in result_lines(finding, units)[:2])


def _instrument(one: InstrumentState) -> str:
    words = without_name(one.name, without_port(one.name, one.port, one.words))
    words = "" if one.state == "open" else f" {words}"
    if one.value is None:
        return f"{one.name}:{words}"
    rate = f", {one.rate:.0f} a second" if one.rate else ""
    return (
        f"{one.name}:{words} {one.value:.3f} mm (shows {one.unit}), {one.age or 0:.1f}"
        f" s old{rate}, {one.rejects} rejected."
    )
