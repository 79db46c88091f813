"""Reads saws, jigs, squares and leaves from tables of TOML, and writes one back.

Lengths are in mm, slopes in rad once read.
"""

from __future__ import annotations

import contextlib
import os
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal, TypeVar

import msgspec

from bench.gear import LONGEST_NAME, Jig, Saw, Square
from bench.settings.paths import SettingsError
from bench.settings.toml_table import Table, either, given, read_toml

T = TypeVar("T")
GearKind = Literal["saw", "jig", "square", "leaves"]


class GearTables(msgspec.Struct):
    """Gear as read so far, each thing with the file that named it."""

    saws: dict[str, Saw] = {}
    jigs: dict[str, Jig] = {}
    squares: dict[str, Square] = {}
    leaves: tuple[float, ...] | None = None
    named: dict[str, str] = {}  # "jig.big-sled" -> file

    def read(self, top: Table) -> None:
        """Takes [saw] [jig] [square] [leaves] out of one file."""
        self._read_named(top, "saw", self.saws, read_saw)
        self._read_named(top, "jig", self.jigs, read_jig)
        self._read_named(top, "square", self.squares, read_square)
        leaves = top.take("leaves")
        if leaves is not None:
            table = Table(top.file, "leaves", leaves, top.written)
            own = table.lengths("set", zero=False)
            table.done()
            if own is not None:
                self._name("leaves.set", top.file)
                self.leaves = own

    def _read_named(
        self,
        top: Table,
        kind: str,
        things: dict[str, T],
        read_one: Callable[[str, Table], T],
    ) -> None:
        tables = top.take(kind)
        if tables is None:
            return
        for name, values in Table(top.file, kind, tables, top.written).left.items():
            if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
                would_do = (
                    f"a printable name of at most {LONGEST_NAME} characters would do,"
                    f" such as [{kind}.my-{kind}]"
                )
                raise top.wrong(kind, name, would_do)
            if not isinstance(values, dict):
                raise top.wrong(
                    f"{kind}.{name}",
                    values,
                    f"a table with a name of its own would do, such as [{kind}.mine]",
                )
            self._name(f"{kind}.{name}", top.file)
            things[name] = read_one(
                name, Table(top.file, f"{kind}.{name}", values, top.written)
            )

    def _name(self, key: str, file: str) -> None:
        if key in self.named:
            raise SettingsError(
                f"{file}: {key}: found here and in {self.named[key]} as well; take it"
                " out of one of the two"
            )
        self.named[key] = file

    def check_saws(self) -> None:
        """A jig's saw must be one that is described."""
        for jig in self.jigs.values():
            if jig.saw is not None and jig.saw not in self.saws:
                would_do = (
                    f"{either(sorted(self.saws))} would do, or a table [saw.{jig.saw}]"
                    if self.saws
                    else f"a table [saw.{jig.saw}] would do (it may be empty)"
                )
                key = f"jig.{jig.name}"
                raise SettingsError(
                    f'{self.named[key]}: {key}.saw: found "{jig.saw}"; {would_do}'
                )


def read_saw(name: str, table: Table) -> Saw:
    saw = Saw(
        name=name,
        **given(
            rip_fence=table.choice("rip_fence", ("left", "right")),
            parallel=table.slope("parallel"),
            toe=table.slope("toe"),
            wobble=table.length("wobble"),
        ),
    )
    table.done()
    return saw


def read_jig(name: str, table: Table) -> Jig:
    jig = Jig(
        name=name,
        **given(
            saw=table.text("saw", "cabinet"),
            fence=table.choice("fence", ("near", "far")),
            pivot=table.choice("pivot", ("left", "right")),
            pivot_to_blade=table.length("pivot_to_blade"),
            pivot_to_screw=table.length("pivot_to_screw"),
            pivot_to_stop=table.length("pivot_to_stop"),
            screw_pitch=table.length("screw_pitch"),
            widest_board=table.length("widest_board"),
            tolerance=table.slope("tolerance"),
            mitre=table.choice("mitre", ("point-away", "point-toward")),
            mitre_pivot=table.choice("mitre_pivot", ("point", "outer")),
            hold=table.choice("hold", ("left", "right")),
        ),
    )
    table.done()
    return jig


def read_square(name: str, table: Table) -> Square:
    square = Square(
        name=name,
        **given(
            arm=table.length("arm"),
            tolerance=table.length("tolerance"),
            long_edge=table.length("long_edge"),
        ),
    )
    table.done()
    return square


def add_gear(
    gear_path: Path,
    kind: GearKind,
    name: str | None,
    values: Mapping[str, str | list[str]],
    *,
    settings_path: Path | None = None,
) -> None:
    """Writes one saw, jig, square or the leaves into gear.toml, keeping what else
    stands there.

    name: None for leaves. values: keys and texts as a user would write them in the
    file. An entry of the same name is replaced key by key. The whole file (beside the
    settings file, where it is given) is checked before anything is written, and the new
    one takes the old one's place in a single step, so a pulled plug leaves one or the
    other. SettingsError: the gear is wrong, nothing was written; OSError: it could not
    be.
    """
    import tomlkit
    from tomlkit.items import InlineTable

    target = gear_path.resolve()
    before = Table(str(gear_path), "", read_toml(target), [])
    GearTables().read(before)  # says what is wrong with the old file, if anything is
    old = target.read_text(encoding="utf-8-sig") if target.exists() else ""
    document = tomlkit.parse(old)
    if kind not in document:
        document[kind] = tomlkit.table(is_super_table=kind != "leaves")
    entry: Any = document[kind]
    if name is not None:
        if name not in entry:
            # A user who writes a table on one line can only have tables on that line.
            one_line = isinstance(entry, InlineTable)
            entry[name] = tomlkit.inline_table() if one_line else tomlkit.table()
        entry = entry[name]
    for key, value in values.items():
        entry[key] = value
    text = tomlkit.dumps(document)
    tables = GearTables()
    if settings_path is not None and settings_path.resolve() != target:
        tables.read(Table(str(settings_path), "", read_toml(settings_path), []))
    top = Table(str(gear_path), "", tomllib.loads(text), [])
    tables.read(top)
    top.done()
    if settings_path is not None:
        tables.check_saws()
    write_whole(target, text)


def write_whole(target: Path, text: str) -> None:
    """The new text takes the old file's place in one step, or not at all."""
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(f".{target.name}.{os.getpid()}.new")
    # left by one that was killed, or a link that somebody laid there
    beside.unlink(missing_ok=True)
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            with contextlib.suppress(FileNotFoundError):
                os.fchmod(file.fileno(), target.stat().st_mode & 0o777)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    folder = os.open(target.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
