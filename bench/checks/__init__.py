"""One file per check; `checks()` is the table of them by kind, found by looking into
this folder.

A file that defines `CHECK` is a check. Nothing else has to be told of it.
"""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache

from bench.checks.model import Check


class UnknownCheck(ValueError):
    """No check of that kind; the message lists those there are."""


@cache
def checks() -> dict[str, Check]:
    """All checks by kind, in the order of their ranks."""
    found: dict[str, Check] = {}
    for module in pkgutil.iter_modules(__path__):
        check = getattr(
            importlib.import_module(f"{__name__}.{module.name}"), "CHECK", None
        )
        if isinstance(check, Check):
            found[check.kind] = check
    return dict(sorted(found.items(), key=lambda item: (item[1].rank, item[0])))


def find(kind: str) -> Check:
    """Raises UnknownCheck naming the kinds there are."""
    table = checks()
    if kind not in table:
        raise UnknownCheck(
            f"no check is called {kind!r}; there are: {', '.join(table)}"
        )
    return table[kind]
