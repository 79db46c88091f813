"""The groups that this user needs, has, or has after logging in again."""

from __future__ import annotations

import grp
import os
import pwd
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from bench.doctor.diagnostic import Diagnostic, diagnosis


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
    table = grp.getgrall()
    groups = frozenset(group.gr_name for group in table if group.gr_gid in mine)
    listed = frozenset(group.gr_name for group in table if name in group.gr_mem)
    return User(name, number == 0, groups, listed | groups)


def known_groups() -> frozenset[str]:
    return frozenset(group.gr_name for group in grp.getgrall())


def diagnose_groups(
    user: User, known: frozenset[str], wants: dict[str, str]
) -> Iterator[Diagnostic]:
    """wants: by group, what it may open, in words."""
    if user.root:
        yield diagnosis("rights", "root")
        return
    for name, what_for in wants.items():
        if name not in known or name in user.groups:
            continue  # a system without the group protects nothing with it
        if name in user.listed:
            yield diagnosis("rights", "login-older", user=user.name, name=name)
        else:
            yield diagnosis(
                "rights", "not-in-group", user=user.name, name=name, what_for=what_for
            )
    if wants and all(name in user.groups or name not in known for name in wants):
        yield diagnosis("rights", "rights-good", user=user.name)


def may_open(path: Path, user: User) -> Diagnostic | None:
    """Why this device may not be opened, where that is so."""
    if not path.exists() or os.access(path, os.R_OK | os.W_OK):
        return None
    group = group_of(path)
    mode = path.stat().st_mode
    if group == "root" or not (mode & stat.S_IRGRP and mode & stat.S_IWGRP):
        owner = "root" if group == "root" else "its owner"
        return diagnosis(
            "rights", "owner-denied", path=path, owner=owner, user=user.name
        )
    return diagnosis(
        "rights",
        "group-denied",
        path=path,
        user=user.name,
        group=group,
        advice=join_advice(user, group),
    )


def join_advice(user: User, group: str) -> str:
    """The advice to a user who lacks this group in this login."""
    if group in user.listed:
        return "log out and in again; this login began before you joined the group"
    return f"sudo adduser {user.name} {group}, then log out and in again"


def group_of(path: Path) -> str:
    """The name of the group that a device belongs to."""
    try:
        return grp.getgrgid(path.stat().st_gid).gr_name
    except KeyError:
        return "dialout"
