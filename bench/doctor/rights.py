"""The groups that this user needs, has, or has after logging in again."""

from __future__ import annotations

import grp
import os
import pwd
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from bench.doctor.diagnostic import Diagnostic, fault, good, note


class User(NamedTuple):
    """groups: those of this login. listed: those that a new login would have."""

    name: str
    root: bool
    groups: frozenset[str]
    listed: frozenset[str]


def this_user() -> User:
    number = os.geteuid()
    try:
        name = pwd.getpwuid(number).pw_name
    except KeyError:
        name = str(number)
    mine = {*os.getgroups(), os.getegid()}
    groups = frozenset(
        group.gr_name for group in grp.getgrall() if group.gr_gid in mine
    )
    listed = frozenset(
        group.gr_name for group in grp.getgrall() if name in group.gr_mem
    )
    return User(name, number == 0, groups, listed | groups)


def known_groups() -> frozenset[str]:
    return frozenset(group.gr_name for group in grp.getgrall())


def diagnose_groups(
    user: User, known: frozenset[str], wants: dict[str, str]
) -> Iterator[Diagnostic]:
    """wants: by group, what it may open, in words."""
    if user.root:
        yield note(
            "rights",
            "root may open everything; the daemon needs less: run it as a user of"
            " its own",
        )
        return
    for name, what_for in wants.items():
        if name not in known or name in user.groups:
            continue  # a system without the group protects nothing with it
        if name in user.listed:
            yield fault(
                "rights",
                f"{user.name} is in the group {name}, but this login began before that",
                "log out and in again (or: newgrp " + name + ")",
            )
        else:
            yield fault(
                "rights",
                f"{user.name} is not in the group {name}, which may open {what_for}",
                f"sudo adduser {user.name} {name}, then log out and in again",
            )
    if wants and all(name in user.groups or name not in known for name in wants):
        yield good("rights", f"{user.name} may open what is wired")


def may_open(path: Path, user: User) -> Diagnostic | None:
    """Why this device may not be opened, where that is so."""
    if not path.exists() or os.access(path, os.R_OK | os.W_OK):
        return None
    group = group_of(path)
    mode = path.stat().st_mode
    if group == "root" or not (mode & stat.S_IRGRP and mode & stat.S_IWGRP):
        return fault(
            "rights",
            f"{path} may be opened by {'root' if group == 'root' else 'its owner'}"
            f" alone, not by {user.name}",
            "sudo cp systemd/60-sweepgauge.rules /etc/udev/rules.d/ && sudo udevadm"
            " control --reload, then plug it in again",
        )
    do = (
        "log out and in again, as this login began before you joined the group"
        if group in user.listed
        else f"sudo adduser {user.name} {group}, then log out and in again"
    )
    return fault(
        "rights", f"{path} may not be opened by {user.name}; the group {group} may", do
    )


def group_of(path: Path) -> str:
    """The name of the group that a device belongs to."""
    try:
        return grp.getgrgid(path.stat().st_gid).gr_name
    except KeyError:
        return "dialout"
