"""Which cable's number moves, and how, while one is looked for."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

from bench.daemon.cable_settings import Role
from bench.stream.motion import Seen, Watcher, pressed, pushed, watcher

What = Literal["indicator", "travel", "leaf"]

MOST_VALUES = 400  # different values kept of a cable, to tell its count from


class CableMovements:
    """By port the movement since it was asked for, and the values that were shown."""

    def __init__(self) -> None:
        self._watchers: dict[str, Watcher] = {}
        self._shown: dict[str, set[float]] = {}

    def restart(self, *, anew: bool) -> None:
        """anew: another instrument is looked for."""
        if anew:
            self._watchers = {}
        for one in self._watchers.values():
            one.begin()

    def take(
        self, what: What | None, port: str, times: list[float], values: list[float]
    ) -> None:
        """times: monotonic s; values: mm. what: that which is looked for or proved."""
        shown = self._shown.setdefault(port, set())
        if len(shown) < MOST_VALUES:
            shown.update(values)
        if what == "indicator" or what == "travel":  # noqa: PLR1714 (mypy narrows)
            if port not in self._watchers:
                self._watchers[port] = watcher(what)
            self._watchers[port].take(times, values)

    def shown(self, port: str) -> set[float]:
        return self._shown.get(port, set())

    def drop_all_but(self, ports: Collection[str]) -> dict[str, float]:
        """Forget the others: by port how far each had moved, mm."""
        lost = [port for port in self._watchers if port not in ports]
        return {port: abs(self._watchers.pop(port).far) for port in lost}

    def seen(self, what: Role, now: float) -> Seen:
        look = pressed if what == "indicator" else pushed
        return look(self._watchers, now)

    def rested(self, port: str, now: float) -> float:
        """s since it moved last."""
        return self._watchers[port].rested(now)
