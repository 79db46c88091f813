"""`sweepgauge demo`.

May import: bench.console, bench.demo, bench.demo_screen, click, msgspec, its neighbours.
"""

from __future__ import annotations

import asyncio
import random

import click

from bench.commands.common import Complaint, json_option, say


@click.command()
@click.option("--headless", is_flag=True, help="No screen: one whole check and its move, told and printed.")
@click.option("--seed", type=int, help="Draws the virtual saw; another seed, another saw.")
@click.option("--marks", is_flag=True, help="One indicator only, the sled stopped at marks.")
@click.option("--lean", is_flag=True, help="With the lean test.")
@click.option("--tap", is_flag=True, help="With the tap test.")
@json_option
def demo(headless: bool, seed: int | None, marks: bool, lean: bool, tap: bool, as_json: bool) -> int:
    """Try the whole job on a virtual saw: real daemon, real serial bytes, nothing to plug in.

    Without --headless on the screen to work by: Enter answers what is asked, `h` is the hand that pushes, `o` lets
    the operator do it all, `w`, `b` and `k` let something go wrong, `/` shows every key.

    Example:  sweepgauge demo --headless --seed 1
    """
    import msgspec

    from bench.demo import DemoError
    from bench.demo import headless as run

    chosen = random.randrange(1, 10000) if seed is None else seed
    if not headless and not as_json:
        return _screen(chosen, marks)
    say(f"virtual saw, seed {chosen}")
    try:
        answer, good = asyncio.run(run(chosen, say, marks=marks, lean=lean, tap=tap))
    except DemoError as error:
        raise Complaint(str(error)) from error
    if as_json:
        click.echo(msgspec.json.encode(answer))
    return 0 if good else 1


def _screen(seed: int, marks: bool) -> int:
    from bench.console.guard import NoTerminal, guarded
    from bench.demo import DemoError
    from bench.demo_screen import run_screen

    def screen() -> None:
        asyncio.run(run_screen(seed, marks=marks))

    try:
        return guarded(screen)
    except (NoTerminal, DemoError) as error:
        raise Complaint(f"{error}; `sweepgauge demo --headless` needs no screen") from error
