"""The calls that the source files make, for tests that compare them with a table of sentences or names."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]


def calls(room: str, *names: str) -> Iterator[tuple[Path, ast.Module, ast.Call]]:
    """Every call of one of these names below a room such as `bench/checks`: its file, the file's tree, the call.

    Only a file that holds one of the names is parsed: parsing all of them takes longer than most tests.
    """
    for path in sorted((ROOT / room).rglob("*.py")):
        text = path.read_text("utf-8")
        if any(f"{name}(" in text for name in names):
            tree = ast.parse(text)
            for node in ast.walk(tree):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") in names:
                    yield path.relative_to(ROOT), tree, node


def rows_named() -> set[str]:
    """The names of all rows of a budget, by the calls that make one."""
    found = (
        call.args[0]
        for room in ("bench/checks", "bench/uncertainty")
        for _, _, call in calls(room, "Part", "rectangular")
        if call.args
    )
    return {one.value for one in found if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def fields_of(template: str) -> set[str]:
    """The values that a template shows, those inside a format too."""
    names = set()
    for _, name, spec, _ in string.Formatter().parse(template):
        if name is not None:
            names |= {name} | fields_of(spec or "")
    return names
