"""`sweepgauge drift`: has what was squared stayed so; asks the daemon, or reads a log
with --log FILE."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from bench.cli.common import (
    LogSource,
    echo_json,
    echo_lines,
    json_option,
    only_check_option,
    only_jig_option,
    tell_unread,
    whose_log,
)
from bench.cli.log import known_kind


@click.command()
@whose_log
@json_option
@only_jig_option
@only_check_option
def drift(source: LogSource, as_json: bool, jig: str | None, kind: str | None) -> int:
    """How results have changed without a move, and when to look again. Exit 1 when one
    has.

    Example:  sweepgauge drift --jig big-sled
    """
    from bench.protocol import Document, Drift

    known_kind(kind)
    reply, units = source.ask(Drift(jig=jig, check=kind), Document)
    if not as_json:
        from bench.render.upkeep import drift_lines

        echo_lines(drift_lines(reply.document, units))
    status = told(reply.document, as_json)
    return 1 if any(series["alarm"] for series in reply.document["series"]) else status


def told(document: Mapping[str, Any], as_json: bool) -> int:
    """Print it as JSON where that is wanted, and say what could not be read; the exit
    status."""
    if as_json:
        echo_json(document)
    if not document["unread"]:
        return 0
    import msgspec

    from bench.finding import Unread

    return tell_unread(msgspec.convert(document["unread"], list[Unread]))
