"""`sweepgauge service install|remove`: sets up what a Pi needs to run the daemon for
good, and takes it away again."""

from __future__ import annotations

import functools
import os
import pwd
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from bench.cli.common import CommandError, echo_lines
from bench.cli.service_steps import (
    InstallTarget,
    ServiceStep,
    install_steps,
    remove_steps,
)

HOME_FOLDERS = ("/home/", "/root/", "/run/user/")  # what ProtectHome= hides


@click.group()
def service() -> None:
    """Everything that a Pi needs to run the instrument for good.

    Example:  sudo /opt/sweepgauge/bin/sweepgauge service install
    """


def place_options(command: Callable[..., int]) -> Callable[..., int]:
    """Where it is done and for whom, given to the command as `place`."""

    @functools.wraps(command)
    def at_place(
        root: Path, person: str | None, screen: bool = False, **how: bool
    ) -> int:
        person = person or os.environ.get("SUDO_USER")
        return command(InstallTarget(root, _program(), person, screen), **how)

    for option in (
        click.option(
            "--user",
            "person",
            metavar="NAME",
            help="Who may use the instrument; the one who called sudo if not said.",
        ),
        click.option(
            "--root",
            type=click.Path(exists=True, file_okay=False, path_type=Path),
            default=Path("/"),
            help="The file tree of a mounted card, not this machine's own.",
        ),
        click.option("--yes", is_flag=True, help="Do not ask before the start."),
        click.option(
            "--dry-run", is_flag=True, help="Only print the steps; change nothing."
        ),
    ):
        at_place = option(at_place)
    return at_place


@service.command()
@place_options
@click.option(
    "--screen",
    is_flag=True,
    help="Show the console on the machine's own screen (tty1) from its start.",
)
def install(place: InstallTarget, dry_run: bool, yes: bool) -> int:
    """Install and start the service. Run again it changes only what has changed."""
    if place.screen and place.person is None:
        raise CommandError("--screen: whose console? Name the person with --user")
    _carry_out(list(install_steps(place)), dry_run=dry_run, yes=yes)
    if not dry_run:
        echo_lines(_still_missing(place))
    return 0


@service.command()
@place_options
def remove(place: InstallTarget, dry_run: bool, yes: bool) -> int:
    """Stop the service and remove it. The log and the settings stay."""
    _carry_out(list(remove_steps(place)), dry_run=dry_run, yes=yes)
    click.echo(
        "Left as they are: the log in /var/lib/sweepgauge; the settings in"
        " /etc/sweepgauge; the user sweepgauge that owns them; the program in"
        f" {sys.prefix}."
    )
    return 0


def _program() -> str:
    """The command of this environment. Raises Complaint where a service may not reach
    it."""
    program = Path(sys.prefix) / "bin" / "sweepgauge"
    if str(program).startswith(HOME_FOLDERS):
        raise CommandError(
            f"{program} lies in a home folder, which a service may not read: install"
            " it into /opt/sweepgauge, as README.md says, and call it there"
        )
    return str(program)


# ---- carrying it out -----------------------------------------------------------------


def _carry_out(steps: list[ServiceStep], *, dry_run: bool, yes: bool) -> None:
    """Print every step, ask once, do them. Raises Complaint, which names the step that
    failed."""
    left = [step for step in steps if not step.done]
    for step in steps:
        click.echo(f"{'already so' if step.done else 'to do     '}  {step.words}")
    if not left or dry_run:
        click.echo("Nothing to do." if not left else "Nothing was changed (--dry-run).")
        return
    if os.geteuid() != 0:
        raise CommandError(
            "this needs root: call it with sudo, or add --dry-run to see it"
        )
    if not yes:
        click.confirm("Go on?", default=True, abort=True)
    for step in left:
        click.echo(step.words)
        _do(step)


def _do(step: ServiceStep) -> None:
    try:
        step.act()
    except (OSError, subprocess.CalledProcessError) as error:
        raise CommandError(
            f"{step.words}: {_why(error)}; mend that and call it again, what is done"
            " stays done"
        ) from error


def _why(error: OSError | subprocess.CalledProcessError) -> str:
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return f"`{' '.join(error.cmd)}` ended with {error.returncode}"


def _still_missing(place: InstallTarget) -> Iterator[str]:
    """What only the person can do."""
    if place.person is not None and place.root == Path("/"):
        yield (
            f"{place.person}: log in again once, then `sweepgauge console` works in any"
            " shell."
        )
        if place.person not in (one.pw_name for one in pwd.getpwall()):
            yield f"There is no user {place.person} on this machine."
    if not any(Path("/dev").glob("gpiochip*")):
        yield "No pins here: pedal, lamp and buzzer need a Pi."
    elif shutil.which("raspi-config") and not Path("/dev/serial0").exists():
        yield (
            "The serial port on the pins is off. Where an instrument hangs on it:"
            " sudo raspi-config nonint do_serial_hw 0, and restart."
        )
