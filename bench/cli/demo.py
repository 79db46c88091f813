"""`sweepgauge demo`: the whole job on a virtual saw."""

from __future__ import annotations

import asyncio
import random
from functools import partial

import click

from bench.checks import checks
from bench.cli.common import CommandError, command_errors, echo_json, json_option, say


@click.command()
@click.option(
    "--headless",
    is_flag=True,
    help="No screen: one whole check and its move, told and printed.",
)
@click.option(
    "--seed", type=int, help="Draws the virtual saw; another seed, another saw."
)
@click.option(
    "--marks", is_flag=True, help="One indicator only, the sled stopped at marks."
)
@click.option("--lean", is_flag=True, help="With the lean test.")
@click.option("--tap", is_flag=True, help="With the tap test.")
@click.option(
    "--check",
    "kind",
    type=click.Choice(list(checks())),
    help="Headless: this one check in place of the whole job.",
)
@json_option
def demo(
    headless: bool,
    seed: int | None,
    marks: bool,
    lean: bool,
    tap: bool,
    kind: str | None,
    as_json: bool,
) -> int:
    """Try the whole job on a virtual saw: real daemon, real serial bytes, nothing to
    plug in.

    Without --headless on the screen to work by: Enter answers what is asked; `h` is the
    hand that pushes; `o` does it all for you; `w`, `b` and `k` let something go
    wrong; `/` shows every key.

    Example:  sweepgauge demo --headless --seed 1
    """
    from bench.demo.daemon_process import DemoError
    from bench.demo.operator import headless as headless_job
    from bench.demo.operator import one_check

    chosen = random.randrange(1, 10000) if seed is None else seed
    if kind is not None and not headless and not as_json:
        raise CommandError(
            "--check goes with --headless; on the screen the check is chosen there"
        )
    if not headless and not as_json:
        return _screen(chosen, marks)
    say(f"virtual saw, seed {chosen}")
    work = headless_job if kind is None else partial(one_check, kind=kind)
    with command_errors(DemoError):
        answer, good = asyncio.run(work(chosen, say, marks=marks, lean=lean, tap=tap))
    if as_json:
        echo_json(answer)
    return 0 if good else 1


def _screen(seed: int, marks: bool) -> int:
    from bench.console.terminal_guard import NoTerminal, guarded
    from bench.demo.daemon_process import DemoError
    from bench.demo.screen import run_screen

    def screen() -> None:
        asyncio.run(run_screen(seed, say, marks=marks))

    def words(error: Exception) -> str:
        return f"{error}; `sweepgauge demo --headless` needs no screen"

    with command_errors(NoTerminal, DemoError, words=words):
        return guarded(screen)
