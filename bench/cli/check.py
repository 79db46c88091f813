"""`sweepgauge check`: a check on the running daemon, led by words and Enter."""

from __future__ import annotations

import sys
from typing import Any

import click

from bench.checks import find
from bench.checks.model import Check, EvidenceGear
from bench.cli.check_conversation import CheckConversation
from bench.cli.common import (
    CommandError,
    echo_json,
    exit_status,
    json_option,
    say,
    socket_option,
)
from bench.cli.options import (
    CommandOfKinds,
    check_options,
    gear_options,
    read_options,
    typed_climate,
)
from bench.protocol import UNRECORDED, Begin

# options that the request to begin a check has besides those of the check
OF_BEGIN = ("jig", "saw", "square", "sweeps", "lean", "tap", "beat", "verifies")


@click.command(cls=CommandOfKinds, context_settings={"show_default": True})
@click.argument("kind")
@gear_options
@click.option(
    "--sweeps",
    type=int,
    metavar="N",
    help="Passes per set-up; 3 unless said, 6 along the rip fence.",
)
@click.option(
    "--lean",
    is_flag=True,
    help="Prove the indicator's side by leaning the sled left and right.",
)
@click.option(
    "--tap",
    is_flag=True,
    help="Tap the stand before the first pass: the number must come back.",
)
@click.option(
    "--beat", type=float, metavar="SECONDS", help="Marks by a beat instead of Enter."
)
@click.option(
    "--extend/--no-extend",
    "extend",
    default=None,
    help=(
        "Offer to go on once where it is too close to call; at a terminal by default."
    ),
)
@click.option(
    "--temperature", metavar="T", help='The air, as "21 C" or "70 F", if no sensor is.'
)
@click.option("--humidity", metavar="SHARE", help='Its relative humidity, as "45 %".')
@click.option(
    "--verifies", metavar="ID", help="The result whose move this check verifies."
)
@socket_option
@json_option
@check_options
def check(
    kind: str,
    extend: bool | None,
    temperature: str | None,
    humidity: str | None,
    socket_path: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take a check on the running daemon: it says what it wants, Enter (or the pedal)
    answers.

    Example:  sweepgauge check fence-square --jig big-sled
    """
    found = find(kind)
    asked = {name: given.pop(name) for name in OF_BEGIN}
    options = read_options(found, given)
    climate = typed_climate(temperature, humidity)
    begin = Begin(check=kind, **asked, options=options, climate=climate)
    _refuse_what_is_not_there(found, begin)
    extends = sys.stdin.isatty() if extend is None else extend
    conversation = CheckConversation(socket_path, begin, extends)
    finding = conversation.run()
    if as_json:
        echo_json(finding)
    if not conversation.recorded:
        say(UNRECORDED)
        return 1
    return exit_status([finding.verdict])


def _refuse_what_is_not_there(found: Check, begin: Begin) -> None:
    """A test that this check has not is wrong use."""
    steps = found.plan(begin.options, EvidenceGear())
    if begin.lean and not any(step.leans for step in steps):
        raise CommandError(f"{found.kind} has no lean test: no sled is pushed there")
    if begin.tap and not any(step.gather == "sweep" for step in steps):
        raise CommandError(f"{found.kind} has no tap test: no passes are taken there")
