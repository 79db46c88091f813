"""`sweepgauge console`: the screen to work by."""

from __future__ import annotations

import click

from bench.cli import common
from bench.cli.common import command_errors, socket_option


@click.command()
@socket_option
@click.option(
    "--look",
    type=click.Choice(["shop", "pencil", "tube"]),
    help=(
        "Colours: shop; pencil has none; tube is for the Pi's own screen.  [default:"
        " what suits the terminal]"
    ),
)
def console(socket_path: str | None, look: str | None) -> int:
    """The screen to work by: what the sled's state is, what to do next; by keys, number
    pad, mouse or touch.

    Example:  sweepgauge console
    """
    from bench.console.terminal_guard import NoTerminal, guarded

    where = common.socket_path(socket_path)

    def screen() -> None:
        # asked first: the answers wait in the socket while the screen is being loaded
        import gc

        # loading makes nothing but what stays; looking through it over and over costs a
        # tenth
        gc.disable()
        from bench.console.greeting import GREETING
        from bench.protocol.async_client import connect_early

        early = connect_early(where, GREETING)
        from bench.console.app import make_console

        app = make_console(where, theme=look, early=early)
        gc.freeze()
        gc.enable()
        app.run()

    with command_errors(NoTerminal):
        return guarded(screen)
