"""Writes what setup found of an instrument into the settings file.

Comments, other keys and their order stay. The whole file is checked before a byte is
written, and the new file takes the old one's place in a single step.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal

import msgspec

from bench.settings.gear_file import write_whole
from bench.settings.port_settings import wire_keys
from bench.settings.settings_file import Settings, SettingsError, load
from bench.settings.toml_table import read_toml

Section = Literal["indicator", "travel"]
Value = str | int

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
            return f"{self.key} = {_plain(self.old)} is taken out"
        return f"{self.key} = {_plain(self.old)} becomes {_plain(self.new)}"


def changes(path: Path, section: Section, values: Mapping[str, Value]) -> list[Change]:
    """What the file says otherwise, to be told before it is written over. Raises
    SettingsError."""
    table = read_toml(path).get(section, {})
    if not isinstance(table, dict):
        raise SettingsError(f"{path}: {section}: a table would do, such as [{section}]")
    out = [
        Change(f"{section}.{key}", table[key], value)
        for key, value in values.items()
        if key in table and table[key] != value
    ]
    out += [
        Change(f"{section}.{key}", table[key], None)
        for key in _stale(section, table, values)
    ]
    return out


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


def wire_of(path: Path, section: Section) -> dict[str, Value]:
    """How the port under [section] speaks, as written there; empty where none is."""
    table = read_toml(path).get(section, {})
    of_cable = wire_keys() if "port" in table else set()
    return {key: value for key, value in table.items() if key in of_cable}


def says(path: Path, section: Section | None, key: str) -> bool:
    """Whether the file has that key already."""
    values = read_toml(path)
    return key in (values if section is None else values.get(section, {}))


def keep(
    path: Path,
    section: Section,
    values: Mapping[str, Value],
    *,
    gear_path: Path | None = None,
    take_from: Section | None = None,
) -> Settings:
    """Write the keys under [section], and give back the settings as they then are.

    values: keys and texts as a user would write them. Keys of another cable's way of
    speaking are taken out where `values` names a port (see `changes`). take_from: the
    section whose cable it was until now; what describes its instrument stays there.
    SettingsError: the file would not be right, nothing was written; OSError
    (PermissionError where the file is read-only): it could not be written.
    """
    return _kept(
        path, lambda document: _put(document, section, values, take_from), gear_path
    )


def write_setting(
    path: Path, key: str, value: str | bool, *, gear_path: Path | None = None
) -> Settings:
    """Write a setting that stands above all tables; errors as `keep`."""

    def put(document: Any) -> None:
        document[key] = value

    return _kept(path, put, gear_path)


def _kept(path: Path, put: Callable[[Any], None], gear_path: Path | None) -> Settings:
    """Read, change, check and write the whole file."""
    target = path.resolve()
    before = target.read_bytes().decode("utf-8-sig") if target.exists() else ""
    text = _with(before, put, path)
    settings = _checked(text, path, gear_path)
    mode = target.stat().st_mode if target.exists() else None
    if mode is not None and not mode & 0o222:
        # A file that was made read-only for everybody is meant to stay as it is. One
        # that another user wrote by hand is replaced, where the folder may be written.
        raise PermissionError(13, "it is read-only", str(path))
    write_whole(target, text)
    if mode is None:
        # a service's mask would keep its own user's group from reading and mending it
        target.chmod(0o664)
    return settings


def _with(before: str, put: Callable[[Any], None], path: Path) -> str:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    read_toml(path)  # says in one line what is wrong with the old file, if anything is
    try:
        document = tomlkit.parse(before)
        if not before.strip():
            document.add(tomlkit.comment(HEADER))
        put(document)
        text = tomlkit.dumps(document)
    except TOMLKitError as error:
        raise SettingsError(
            f"{path}: it could not be added to: {error}; write it by hand"
        ) from None
    if tomllib.loads(text) != document.unwrap():
        raise SettingsError(f"{path}: it could not be added to; write it by hand")
    return text


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
        other: Any = document[take_from]
        of_cable = wire_keys()
        for key in [key for key in dict(other) if key in of_cable]:
            del other[key]


def _checked(text: str, path: Path, gear_path: Path | None) -> Settings:
    """Read as it will be read, from another place, so that nothing wrong ever stands in
    the file."""
    with tempfile.TemporaryDirectory(prefix="sweepgauge-") as folder:
        trial = Path(folder) / "settings.toml"
        trial.write_bytes(text.encode())
        try:
            settings = load(trial, gear_path)
        except SettingsError as error:
            raise SettingsError(str(error).replace(str(trial), str(path))) from None
    return msgspec.structs.replace(settings, settings_file=str(path))


def as_text(section: Section, values: Mapping[str, Value]) -> str:
    """The same for a person who has to write it by hand, in one line."""
    return f"[{section}] " + "; ".join(
        f"{key} = {_plain(value)}" for key, value in values.items()
    )


def _plain(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def whole_file(values: Mapping[str, Any]) -> str:
    """The text of a settings file that says just these."""
    import tomlkit

    return tomlkit.dumps(values)
