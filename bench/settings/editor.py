"""Writes into the settings file and gear.toml: what setup found, and the user's gear.

Comments, other keys and their order stay. The whole file is checked before a byte is
written, and the new file takes the old one's place in a single step.
"""

from __future__ import annotations

import contextlib
import os
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal, TypeVar

import msgspec

from bench.settings.gear_file import GearTables
from bench.settings.port_settings import wire_keys
from bench.settings.settings_file import Settings, SettingsError, load
from bench.settings.toml_table import Table, read_toml
from hw.discovery.listening import settings_text, value_text

Section = Literal["indicator", "travel"]
GearKind = Literal["saw", "jig", "square", "leaves"]
Value = str | int
T = TypeVar("T")

HEADER = (
    "What is wired where. Written when the cables were found; change it as you like."
)


class Change(msgspec.Struct, frozen=True):
    """One key that said otherwise. new None: it is taken out."""

    key: str
    old: object
    new: Value | None

    def text(self) -> str:
        if self.new is None:
            return f"{self.key} = {value_text(self.old)} is taken out"
        return f"{self.key} = {value_text(self.old)} becomes {value_text(self.new)}"


def changes(path: Path, section: Section, values: Mapping[str, Value]) -> list[Change]:
    """What the file says otherwise, to be told before it is written over. Raises
    SettingsError."""
    table = read_toml(path).get(section, {})
    if not isinstance(table, dict):
        raise SettingsError(f"{path}: {section}: a table would do, such as [{section}]")
    said = {**values, **dict.fromkeys(_stale(section, table, values))}
    return [
        Change(f"{section}.{key}", table[key], new)
        for key, new in said.items()
        if key in table and table[key] != new
    ]


def _stale(
    section: Section, table: Mapping[str, Any], values: Mapping[str, Value]
) -> list[str]:
    if "port" not in values:
        return []  # the same cable goes on
    of_cable = wire_keys()
    stale = [key for key in table if key in of_cable and key not in values]
    if section == "travel" and "marks" in table:
        stale.append("marks")  # either marks or a port
    return stale


def cable_keys_of(path: Path, section: Section) -> dict[str, Value]:
    """How the port under [section] speaks, as written there; empty where none is."""
    table = read_toml(path).get(section, {})
    of_cable = wire_keys() if "port" in table else set()
    return {key: value for key, value in table.items() if key in of_cable}


def has_key(path: Path, section: Section | None, key: str) -> bool:
    """Whether the file has that key already."""
    values = read_toml(path)
    return key in (values if section is None else values.get(section, {}))


def write_section(
    path: Path,
    section: Section,
    values: Mapping[str, Value],
    *,
    gear_path: Path | None = None,
    take_from: Section | None = None,
) -> Settings:
    """Write the keys under [section]; gives the settings as they then are.

    values: as a user would write them. Keys of another cable's way of speaking are
    taken out where `values` names a port (see `changes`). take_from: the section whose
    cable it was; what describes its instrument stays there. SettingsError: the file
    would not be right, nothing was written; OSError: it could not be written."""
    return _edit(
        path,
        lambda document: _put(document, section, values, take_from),
        lambda text: load(path, gear_path, text=text),
        HEADER,
    )


def write_setting(
    path: Path, key: str, value: str | bool, *, gear_path: Path | None = None
) -> Settings:
    """Write a setting that stands above all tables; errors as `write_section`."""

    def put(document: Any) -> None:
        document[key] = value

    return _edit(path, put, lambda text: load(path, gear_path, text=text), HEADER)


def add_gear(
    gear_path: Path,
    kind: GearKind,
    name: str | None,
    values: Mapping[str, str | list[str]],
    *,
    settings_path: Path | None = None,
) -> None:
    """Write a saw, jig, square or the leaves into gear.toml; errors as `write_section`.

    name: None for leaves. An entry of the same name is replaced key by key. The whole
    file is checked, beside the settings file where that is given.
    """

    def check(text: str) -> None:
        tables = GearTables()
        if settings_path is not None and settings_path.resolve() != gear_path.resolve():
            tables.read(Table(str(settings_path), "", read_toml(settings_path), []))
        top = Table(str(gear_path), "", tomllib.loads(text), [])
        tables.read(top)
        top.done()
        if settings_path is not None:
            tables.check_saws()

    GearTables().read(Table(str(gear_path), "", read_toml(gear_path), []))
    _edit(gear_path, lambda document: _put_gear(document, kind, name, values), check)


def _put_gear(
    document: Any, kind: GearKind, name: str | None, values: Mapping[str, Any]
) -> None:
    import tomlkit
    from tomlkit.items import InlineTable

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


def _edit(
    path: Path, put: Callable[[Any], None], check: Callable[[str], T], header: str = ""
) -> T:
    """Read, change, check and write the whole file; what the check gives."""
    target = path.resolve()
    before = target.read_bytes().decode("utf-8-sig") if target.exists() else ""
    text = _with(before, put, path, header)
    checked = check(text)
    mode = target.stat().st_mode if target.exists() else None
    if mode is not None and not mode & 0o222:
        # A file that was made read-only for everybody is meant to stay as it is. One
        # that another user wrote by hand is replaced, where the folder may be written.
        raise PermissionError(13, "it is read-only", str(path))
    _write_whole(target, text)
    if mode is None:
        # a service's mask would keep its own user's group from reading and mending it
        target.chmod(0o664)
    return checked


def _with(before: str, put: Callable[[Any], None], path: Path, header: str) -> str:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    read_toml(path)  # says in one line what is wrong with the old file, if anything is
    try:
        document = tomlkit.parse(before)
        if header and not before.strip():
            document.add(tomlkit.comment(header))
        put(document)
        text = tomlkit.dumps(document)
    except TOMLKitError as error:
        raise SettingsError(
            f"{path}: it could not be added to: {error}; write it by hand"
        ) from None
    if tomllib.loads(text) != document.unwrap():
        raise SettingsError(f"{path}: it could not be added to; write it by hand")
    return text


def _write_whole(target: Path, text: str) -> None:
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
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _put(
    document: Any,
    section: Section,
    values: Mapping[str, Value],
    take_from: Section | None,
) -> None:
    import tomlkit

    if section not in document:
        if len(document.body) > 1 or document.unwrap():
            document.add(tomlkit.nl())
        document[section] = tomlkit.table()
    table: Any = document[section]
    plain = dict(table)
    for key in _stale(section, plain, values):
        del table[key]
    for key, value in values.items():
        if key not in plain or plain[key] != value:
            table[key] = value
    if take_from is not None and take_from in document:
        for key in dict(document[take_from]).keys() & wire_keys():
            del document[take_from][key]


def section_text(section: Section, values: Mapping[str, Value]) -> str:
    """The same for a person who has to write it by hand, in one line."""
    return f"[{section}] {settings_text(values)}"


def file_text(values: Mapping[str, Any]) -> str:
    """The text of a settings file that says just these."""
    import tomlkit

    return tomlkit.dumps(values)
