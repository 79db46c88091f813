"""`sweepgauge check`: a check on the running daemon, led by words and Enter."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from bench.checks import find
from bench.cli.common import (
    Complaint,
    echo_json,
    json_option,
    say,
    socket_option,
    worst,
)
from bench.cli.options import declared, gear_options, read_options, typed_climate

if TYPE_CHECKING:
    from bench.checks.model import Check
    from bench.checks.options import OptionValue


@click.command(context_settings={"show_default": True})
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
    help="Tap the stand before the first push: the number must come back.",
)
@click.option(
    "--beat", type=float, metavar="SECONDS", help="Marks by a beat instead of Enter."
)
@click.option(
    "--extend/--no-extend",
    "extend",
    default=None,
    help=(
        "Offer to go on once where the answer is too close to call; at a terminal by"
        " default."
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
@declared
def check(
    kind: str,
    jig: str | None,
    saw: str | None,
    square: str | None,
    sweeps: int | None,
    lean: bool,
    tap: bool,
    beat: float | None,
    extend: bool | None,
    temperature: str | None,
    humidity: str | None,
    verifies: str | None,
    socket_path: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take a check on the running daemon: it says what it wants, Enter (or the pedal)
    answers.

    Example:  sweepgauge check fence-square --jig big-sled
    """
    from bench.cli.check_conversation import CheckConversation
    from bench.protocol import UNRECORDED, Begin

    found = find(kind)
    options = read_options(found, given)
    begin = Begin(
        check=kind,
        jig=jig,
        saw=saw,
        square=square,
        sweeps=sweeps,
        lean=lean,
        tap=tap,
        beat=beat,
        options=options,
        verifies=verifies,
        climate=typed_climate(temperature, humidity),
    )
    _refuse_what_is_not_there(found, options, lean, tap)
    extends = sys.stdin.isatty() if extend is None else extend
    conversation = CheckConversation(socket_path, begin, extends)
    finding = conversation.run()
    if as_json:
        echo_json(finding)
    if not conversation.recorded:
        say(UNRECORDED)
        return 1
    return worst([finding.verdict])


def _refuse_what_is_not_there(
    found: Check, options: Mapping[str, OptionValue], lean: bool, tap: bool
) -> None:
    """A test that this check has not is wrong use."""
    from bench.checks.model import EvidenceGear

    steps = found.plan(options, EvidenceGear())
    if lean and not any(step.leans for step in steps):
        raise Complaint(f"{found.kind} has no lean test: no sled is pushed there")
    if tap and not any(step.gather == "sweep" for step in steps):
        raise Complaint(f"{found.kind} has no tap test: no passes are taken there")
