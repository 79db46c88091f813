"""`sweepgauge symptom`: from what is wrong with the cut or the sled to the checks that
tell, in order."""

from __future__ import annotations

import click

from bench.cli.common import Complaint, echo_json, echo_lines, json_option


@click.command()
@click.argument("name", required=False)
@json_option
def symptom(name: str | None, as_json: bool) -> int:
    """What is wrong with the cut, and which checks tell, in order.

    Example:  sweepgauge symptom rattles
    """
    from bench.render.symptoms import symptom_lines, symptoms

    known = symptoms()
    chosen = [one for one in known if name in (None, one["name"])]
    if not chosen:
        names = ", ".join(one["name"] for one in known)
        raise Complaint(f"no symptom is called {name!r}; there are: {names}")
    if as_json:
        echo_json({"symptoms": chosen})
        return 0
    for one in chosen:
        echo_lines(symptom_lines(one))
    return 0
