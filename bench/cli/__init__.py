"""The command line: which commands there are. Each is loaded only when it is called, so
that help is quick."""

from __future__ import annotations

import errno
import importlib
import os
import sys
from typing import Any

import click

from bench import __version__

# name -> module in bench.cli, and the line that help shows
COMMANDS = {
    "demo": ("demo", "Try the whole job on a virtual saw; nothing to plug in."),
    "daemon": ("daemon", "Read the instruments and keep the log, until told to stop."),
    "console": ("console", "The screen to work by."),
    "learn": (
        "learn",
        "Find the cables by moving what hangs on them; prove them with a leaf.",
    ),
    "status": ("status", "Instruments, the check in progress, the last results."),
    "watch": ("watch", "Live readings, one line each."),
    "check": ("check", "Take a check on the running daemon."),
    "evaluate": ("evaluate", "Work out recorded passes from CSV files."),
    "moved": ("requests", "Note that the move of the last result was made."),
    "undo": ("requests", "Take back the last pass of the check in progress."),
    "abandon": (
        "requests",
        "Give up the check in progress; what was measured stays in the log.",
    ),
    "decode": ("decode", "Raw bytes from standard input to readings."),
    "capture": ("capture", "Raw bytes of an instrument to standard output."),
    "doctor": (
        "doctor",
        "Ports, formats, rates, clock, disk, permissions: what is wrong, what to do.",
    ),
    "drift": (
        "drift",
        "How results have changed without a move, and when to look again.",
    ),
    "service": ("service", "Have a Pi run it for good, or no longer."),
    "due": ("drift", "What should be checked again, when and why."),
    "event": ("requests", "Note what happened to a sled, its saw or its square."),
    "cut": ("cut", "How square the parts come out, and what to put right first."),
    "symptom": ("symptom", "What is wrong with the cut, and which checks tell."),
    "log": ("log", "List, show, export or import what was measured."),
    "report": ("report", "One page that prints: results, moves, charts; or a card."),
}


UNWRITTEN = (errno.ENOSPC, errno.EDQUOT)  # a full card


class LazyGroup(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"bench.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except _for_the_person() as error:
            from bench.cli.common import CommandError

            raise CommandError(str(error)) from error

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])


def _for_the_person() -> tuple[type[Exception], ...]:
    """Errors whose message is one line for the person: what was wrong, where, what to
    do. Looked up only once there is an error, so that help is quick."""
    from bench.checks import UnknownCheck
    from bench.checks.options import OptionError
    from bench.log.rows import LogError
    from bench.procedure.invalid_request import InvalidRequest
    from bench.protocol.client import (
        ConnectionClosed,
        NoDaemon,
        RequestRefused,
    )
    from bench.settings.paths import SettingsError

    of_daemon = (NoDaemon, RequestRefused, ConnectionClosed)
    of_files = (SettingsError, LogError)
    return (UnknownCheck, OptionError, InvalidRequest, *of_daemon, *of_files)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(
    __version__, prog_name="sweepgauge", message="%(prog)s %(version)s"
)
def cli() -> None:
    """Square the fence of a table saw sled with an indicator and a few pushes.

    Try it with nothing plugged in:  sweepgauge demo --headless
    """


def _words(error: Exception) -> str:
    """One line for whatever is wrong with the use; the help is a word away. Raises the
    error again where it is a fault of ours."""
    from bench.cli.common import CommandError

    match error:
        case CommandError():
            return str(error)
        case click.exceptions.NoArgsIsHelpError():
            return _no_command(error.ctx)
        case click.ClickException():
            context = getattr(error, "ctx", None)
            help_at = f"; see {context.command_path} --help" if context else ""
            said = " ".join(error.format_message().split()).rstrip(".")
            return f"{said[:1].lower()}{said[1:]}{help_at}"
        case OSError() if error.errno in UNWRITTEN and error.filename is None:
            # what is left must not be tried again at the end
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            return f"the answer could not be written: {error.strerror}"
    raise error


def _no_command(context: click.Context | None) -> str:
    command = context.command if context is not None else cli
    if context is None or not isinstance(command, click.Group) or command is cli:
        return (
            "no command; `sweepgauge --help` shows them; `sweepgauge demo` tries the"
            " job with nothing plugged in"
        )
    names = ", ".join(command.list_commands(context))
    return f"no command; there are: {names}; see {context.command_path} --help"


def main() -> None:
    """Exit 0 done, 1 done and bad news, 2 wrong use or input (one line says what and
    where)."""
    try:
        code = cli.main(standalone_mode=False)
    except (click.Abort, KeyboardInterrupt):
        click.echo("", err=True)
        code = 130
    except SystemExit as ended:
        # The reader of our output left (head, a closed pager): no error of ours, and 1
        # would be bad news. click ends with 1 there, and leaves this mark.
        left = type(sys.stdout).__name__.endswith("PacifyFlushWrapper")
        code = 0 if left else ended.code
    except Exception as error:
        click.echo(f"sweepgauge: {_words(error)}", err=True)
        code = 2
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
