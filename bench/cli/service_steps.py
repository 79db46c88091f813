"""The steps that install the service and take it away, each with what is there
already."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

from bench.cli.common import CommandError

SERVICE_UNIT = "sweepgauge.service"
SCREEN_UNIT = "sweepgauge-screen.service"
SERVICE_GROUP = "sweepgauge"
SHELL_COMMAND = Path("usr/local/bin/sweepgauge")  # on the PATH of login and ssh shells
# end of a file's name in systemd/ -> the folder and the end of its name there, where
# systemd-sysusers(8), systemd-tmpfiles(8), udev(7) and systemd.unit(5) look for it
TARGET_FOLDERS = {
    ".sysusers.conf": ("usr/lib/sysusers.d", ".conf"),
    ".tmpfiles.conf": ("usr/lib/tmpfiles.d", ".conf"),
    ".rules": ("etc/udev/rules.d", ".rules"),
    ".service": ("etc/systemd/system", ".service"),
    ".timer": ("etc/systemd/system", ".timer"),
}
PROGRAM_IN_UNITS = "/opt/sweepgauge/bin/sweepgauge"
PERSON_IN_UNITS = "@PERSON@"


class ServiceStep(NamedTuple):
    """One thing to do. words: what it does, with its path. done: it is so already.
    act: does it; raises OSError, subprocess.CalledProcessError."""

    words: str
    done: bool
    act: Callable[[], object]


class InstallTarget(NamedTuple):
    """root: of the file tree, / on a running machine. program: its own path in there.
    person: who is to use the instrument, if anybody. screen: the console at start on
    the machine's own screen."""

    root: Path
    program: str
    person: str | None
    screen: bool

    @property
    def runs(self) -> bool:
        """The tree is this machine's, and systemd runs it."""
        return self.root == Path("/") and Path("/run/systemd/system").is_dir()


def install_steps(place: InstallTarget) -> Iterator[ServiceStep]:
    """In the order in which each needs the one before."""
    files = _files(screen=place.screen)
    is_changed = False
    for name, target in files.items():
        step = _file_step(place.root / target, _text_of(name, place))
        is_changed |= not step.done
        yield step
        if name.endswith(".sysusers.conf"):
            yield _command(
                "make the user and the group sweepgauge",
                bool(_account(place.root, "passwd", SERVICE_GROUP)),
                _tool(place, "systemd-sysusers", "sweepgauge.conf"),
            )
        elif name.endswith(".tmpfiles.conf"):
            yield _command(
                "make the folder of the settings, /etc/sweepgauge",
                step.done and (place.root / "etc/sweepgauge").is_dir(),
                _tool(place, "systemd-tmpfiles", "--create", "sweepgauge.conf"),
            )
    if place.person is not None:
        yield _command(
            f"let {place.person} use the instrument: group sweepgauge",
            _is_member(place),
            (
                *("usermod", *_in_tree(place, "--prefix")),
                *("-a", "-G", SERVICE_GROUP, place.person),
            ),
        )
    yield _link_step(place.root / SHELL_COMMAND, place.program)
    yield from _start_steps(place, _started(files), is_changed)


def _start_steps(
    place: InstallTarget, started: Sequence[str], is_changed: bool
) -> Iterator[ServiceStep]:
    if not place.runs:
        yield _command(
            "have it started when the machine starts: " + ", ".join(started),
            all(_is_enabled(place.root, unit) for unit in started),
            ("systemctl", f"--root={place.root}", "enable", *started),
        )
        return
    yield _command(
        "have the rule for cables and pins used; for those plugged in too",
        not is_changed,
        ("udevadm", "control", "--reload"),
        (*("udevadm", "trigger"), *("--subsystem-match=tty", "--subsystem-match=gpio")),
    )
    yield _command(
        "start it, now and when the machine starts: " + ", ".join(started),
        not is_changed and all(_is_active(unit) for unit in started),
        ("systemctl", "daemon-reload"),
        ("systemctl", "enable", *started),
        ("systemctl", "restart", *started),
    )


def remove_steps(place: InstallTarget) -> Iterator[ServiceStep]:
    ours = [
        unit
        for unit in reversed(_started(_files(screen=True)))
        if (place.root / "etc/systemd/system" / unit).exists()
    ]
    if ours:
        now, root = (("--now",), ()) if place.runs else ((), (f"--root={place.root}",))
        yield _command(
            "stop it and have it started no more: " + ", ".join(ours),
            False,
            ("systemctl", *root, "disable", *now, *ours),
        )
    targets = [*_files(screen=True).values(), str(SHELL_COMMAND)]
    for target in targets:
        path = place.root / target
        ours_too = target != str(SHELL_COMMAND) or path.is_symlink()
        gone = not (os.path.lexists(path) and ours_too)
        yield ServiceStep(f"remove {path}", gone, partial(path.unlink, missing_ok=True))
    if place.person is not None:
        yield _command(
            f"take {place.person} out of the group sweepgauge",
            not _is_member(place),
            ("gpasswd", *_in_tree(place, "--root"), "-d", place.person, SERVICE_GROUP),
        )
    if place.runs:
        yield _command(
            "have systemd and udev forget it",
            False,
            ("systemctl", "daemon-reload"),
            ("udevadm", "control", "--reload"),
        )


def _files(*, screen: bool) -> dict[str, str]:
    """Each file of systemd/ and where it goes, users and folders first."""
    names = [path.name for path in _folder().iterdir()]
    out = {}
    for end, (folder, new_end) in TARGET_FOLDERS.items():
        for name in sorted(name for name in names if name.endswith(end)):
            if screen or name != SCREEN_UNIT:
                out[name] = f"{folder}/{name.removesuffix(end)}{new_end}"
    return out


def _started(files: dict[str, str]) -> list[str]:
    """The units that start by themselves; a timer starts the service of its name."""
    return [
        name
        for name in files
        if name in (SERVICE_UNIT, SCREEN_UNIT) or name.endswith(".timer")
    ]


def _file_step(path: Path, text: str) -> ServiceStep:
    there = path.read_text() if path.is_file() else None
    verb = "write" if there is None else "replace"

    def write() -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        path.chmod(0o644)

    return ServiceStep(f"{verb} {path}", there == text, write)


def _link_step(path: Path, program: str) -> ServiceStep:
    done = path.is_symlink() and os.readlink(path) == program
    if path.exists() and not path.is_symlink():
        raise CommandError(
            f"{path} is there and is no link of ours: rename it, then install again"
        )

    def link() -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.symlink_to(program)

    return ServiceStep(
        f"link {path} to {program}, so that every shell finds it", done, link
    )


def _command(words: str, done: bool, *commands: tuple[str, ...]) -> ServiceStep:
    def run() -> None:
        for command in commands:
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    return ServiceStep(words, done, run)


def _tool(place: InstallTarget, *command: str) -> tuple[str, ...]:
    """A tool of systemd, told where the tree is."""
    return (command[0], f"--root={place.root}", *command[1:])


def _in_tree(place: InstallTarget, option: str) -> tuple[str, ...]:
    """The option that names the tree, where it is not this machine's."""
    return () if place.root == Path("/") else (option, str(place.root))


# ---- what is there -------------------------------------------------------------------


def _text_of(name: str, place: InstallTarget) -> str:
    """The file as this machine needs it: with this program's path and the person."""
    text = (_folder() / name).read_text()
    return text.replace(PROGRAM_IN_UNITS, place.program).replace(
        PERSON_IN_UNITS, place.person or ""
    )


def _folder() -> Path:
    """The project's systemd/ folder: installed beside the program, or in a checkout."""
    for folder in (
        Path(sys.prefix) / "share" / "sweepgauge" / "systemd",
        Path(__file__).parents[2] / "systemd",
    ):
        if (folder / SERVICE_UNIT).is_file():
            return folder
    raise CommandError(
        f"the files for systemd are missing in {sys.prefix}/share/sweepgauge: install"
        " the program again with pip"
    )


def _account(root: Path, table: str, name: str) -> list[str]:
    """Its fields in a table of accounts; none where it is not there."""
    path = root / "etc" / table
    rows = path.read_text().splitlines() if path.is_file() else []
    return next((row.split(":") for row in rows if row.startswith(f"{name}:")), [])


def _is_member(place: InstallTarget) -> bool:
    members = _account(place.root, "group", SERVICE_GROUP)[3:]
    return place.person in ",".join(members).split(",")


def _is_enabled(root: Path, unit: str) -> bool:
    wants = (root / "etc/systemd/system").glob("*.wants")
    return any((folder / unit).is_symlink() for folder in wants)


def _is_active(unit: str) -> bool:
    command = ["systemctl", "is-active", "-q", unit]
    return subprocess.run(command, check=False).returncode == 0
