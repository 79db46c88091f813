"""`sweepgauge daemon`: reads the instruments and keeps the log."""

from __future__ import annotations

import logging
import os
import sys

import click

from bench.cli.common import (
    command_errors,
    load_settings,
    log_option,
    paths,
    settings_option,
    socket_option,
)


@click.command()
@socket_option
@settings_option
@log_option
def daemon(
    socket_path: str | None, settings_path: str | None, log_path: str | None
) -> int:
    """Read the instruments and keep the log, until told to stop.

    Without settings it listens to every free serial port while somebody looks. Then it
    asks for the plunger to be pressed. SWEEPGAUGE_PORTS names more ports to listen to:
    paths, patterns with *, URLs of pyserial.

    Example:  sweepgauge daemon --settings ~/.config/sweepgauge/settings.toml
    """
    from bench.daemon.service import CannotRun, run_daemon

    where = paths(settings=settings_path, log=log_path, socket=socket_path)
    # journald has the time and the level itself
    alone = "" if os.environ.get("INVOCATION_ID") else "%(asctime)s %(levelname)s "
    form = f"{alone}%(message)s"
    logging.basicConfig(level=logging.INFO, stream=sys.stderr, format=form)
    with command_errors(CannotRun):
        run_daemon(load_settings(where), where)
    return 0
