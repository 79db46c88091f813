"""`sweepgauge status`: instruments, the check in progress, the last results."""

from __future__ import annotations

import click

from bench.cli.common import echo_json, json_option, request, socket_option
from bench.render.wording import without_name, without_port


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
    click.echo(f"{reply.program}; log {reply.log}: {reply.recording}")
    for note in reply.notes:
        click.echo(f"note: {note}")
    if not any(one.state != "marks" for one in reply.instruments):
        click.echo(
            "no instrument is set up: `sweepgauge learn indicator` finds it;"
            " `sweepgauge demo` pretends a saw"
        )
    for one in reply.instruments:
        now = ""
        if one.value is not None:
            rate = f", {one.rate:.0f} a second" if one.rate else ""
            now = (
                f" {one.value:.3f} mm (shows {one.unit}), {one.age or 0:.1f} s"
                f" old{rate}, {one.rejects} rejected."
            )
        words = without_name(one.name, without_port(one.name, one.port, one.words))
        click.echo(f"{one.name}: {words}{now}")
    if reply.run is None:
        click.echo("no check in progress")
    else:
        ask = reply.run.ask
        click.echo(
            f"in progress: {reply.run.check} of {reply.run.jig or 'no named sled'};"
            f" {ask.words}"
        )
    from bench.render.result import result_lines

    for finding in reply.last:
        click.echo(f"{finding.at}  {finding.id}")
        for line in result_lines(finding, units)[:2]:
            click.echo(f"  {line}")
    return 0
