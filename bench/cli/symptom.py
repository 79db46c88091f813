"""`sweepgauge symptom`: from what is wrong with the cut or the sled to the checks that
tell, in order."""

from __future__ import annotations

import click

from bench.cli.common import CommandError, json_option, tell
from bench.render.symptoms import symptom_lines, symptoms


@click.command()
@click.argument("name", required=False)
@json_option
def symptom(name: str | None, as_json: bool) -> int:
    """What is wrong with the cut, and which checks tell, in order.

    Example:  sweepgauge symptom rattles
    """
    known = symptoms()
    chosen = [one for one in known if name in (None, one["name"])]
    if not chosen:
        names = ", ".join(one["name"] for one in known)
        raise CommandError(f"no symptom is called {name!r}; there are: {names}")
    lines = (line for one in chosen for line in symptom_lines(one))
    tell({"symptoms": chosen}, lines, as_json)
    return 0
