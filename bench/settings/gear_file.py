"""Reads saws, jigs, squares and leaves from tables of TOML.

Lengths are in mm, slopes in rad once read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import msgspec

from bench.gear import LONGEST_NAME, Jig, Saw, Square
from bench.settings.paths import SettingsError
from bench.settings.toml_table import Readers, Table, alternatives, one_of

T = TypeVar("T")

SAW_KEYS: Readers = {
    "rip_fence": one_of("left", "right"),
    "parallel": Table.slope,
    "toe": Table.slope,
    "wobble": Table.length,
    "end_float": Table.length,
}
JIG_KEYS: Readers = {
    "saw": lambda table, key: table.text(key, "cabinet"),
    "fence": one_of("near", "far"),
    "pivot": one_of("left", "right"),
    "pivot_to_blade": Table.length,
    "pivot_to_screw": Table.length,
    "pivot_to_stop": Table.length,
    "screw_pitch": Table.length,
    "widest_board": Table.length,
    "tolerance": Table.slope,
    "mitre": one_of("point-away", "point-toward"),
    "mitre_pivot": one_of("point", "outer"),
    "hold": one_of("left", "right"),
    "runner_length": Table.length,
}
SQUARE_KEYS: Readers = {
    "arm": Table.length,
    "tolerance": Table.length,
    "long_edge": Table.length,
}


class GearTables(msgspec.Struct):
    """Gear as read so far, each thing with the file that named it."""

    saws: dict[str, Saw] = {}
    jigs: dict[str, Jig] = {}
    squares: dict[str, Square] = {}
    leaves: tuple[float, ...] | None = None
    named: dict[str, str] = {}  # "jig.big-sled" -> file

    def read(self, top: Table) -> None:
        """Takes [saw] [jig] [square] [leaves] out of one file."""
        self._read_named(top, "saw", self.saws, Saw, SAW_KEYS)
        self._read_named(top, "jig", self.jigs, Jig, JIG_KEYS)
        self._read_named(top, "square", self.squares, Square, SQUARE_KEYS)
        leaves = top.take("leaves")
        if leaves is not None:
            table = Table(top.file, "leaves", leaves, top.written)
            own = table.lengths("set")
            table.done()
            if own is not None:
                self._name("leaves.set", top.file)
                self.leaves = own

    def _read_named(
        self,
        top: Table,
        kind: str,
        things: dict[str, T],
        make: Callable[..., T],
        readers: Readers,
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
                would_do = f"a table with a name of its own would do: [{kind}.mine]"
                raise top.wrong(f"{kind}.{name}", values, would_do)
            self._name(f"{kind}.{name}", top.file)
            table = Table(top.file, f"{kind}.{name}", values, top.written)
            things[name] = make(name, **table.values(readers))
            table.done()

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
                would_do = f"a table [saw.{jig.saw}] would do (it may be empty)"
                if known := sorted(self.saws):
                    would_do = (
                        f"{alternatives(known)} would do, or a table [saw.{jig.saw}]"
                    )
                key = f"jig.{jig.name}"
                raise SettingsError(
                    f'{self.named[key]}: {key}.saw: found "{jig.saw}"; {would_do}'
                )
