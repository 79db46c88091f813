"""Results that can be compared, one after the other, cut into baseline periods where
something happened.

A series is one quantity of one check, sled, saw, way of holding, kind of set-up,
instrument and square. A move, or an event of the gear, begins a new baseline period.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

import msgspec

from bench.upkeep.history import GearEvent, History, Measurement, Reason

# events after which the results that alarmed last belong to what comes: they saw it
ANSWERING_EVENTS = ("dropped", "accepted")
OF_THE_SAW = ("blade", "saw")  # what turns results of the saw itself


class Key(NamedTuple):
    check: str
    jig: str | None
    saw: str | None
    quantity: str
    unit: str
    hold: str | None
    set_up: str
    instrument: str | None
    square: str | None


class Baseline(msgspec.Struct, frozen=True):
    """A baseline period; without results where something has only just happened."""

    reason: Reason
    from_day: float
    results: tuple[Measurement, ...]
    after_move_of: str | None = None


class _Cut(NamedTuple):
    at: int  # number of the first result behind it
    day: float
    reason: Reason
    after_move_of: str | None


def by_series(results: Iterable[Measurement]) -> dict[Key, list[Measurement]]:
    """Each series in the order of time, the main quantity before the square's error."""
    groups: dict[Key, list[Measurement]] = {}
    for one in sorted(results, key=lambda one: (one.day, one.order)):
        key = Key(*(getattr(one, name) for name in Key._fields))
        groups.setdefault(key, []).append(one)
    return groups


def baselines(
    results: Sequence[Measurement],
    history: History,
    trailing: Callable[[Sequence[Baseline]], Sequence[int]] | None = None,
) -> list[Baseline]:
    """The periods of one series, at least one result in all of it.

    trailing: how many results at the end of each period alarm, so that the event that
    answers them can begin before them.
    """
    parts = _parted(results, _cuts(results, history))
    if trailing is None or not any(part.reason in ANSWERING_EVENTS for part in parts):
        return parts
    moved: list[_Cut] = []
    alarmed, place = trailing(parts), len(parts[0].results)
    for before, part in enumerate(parts[1:]):
        at = place - (alarmed[before] if part.reason in ANSWERING_EVENTS else 0)
        moved.append(_Cut(at, part.from_day, part.reason, part.after_move_of))
        place += len(part.results)
    return _parted(results, moved)


def _parted(results: Sequence[Measurement], cuts: Sequence[_Cut]) -> list[Baseline]:
    """A period without results is kept only where it is the last."""
    parts: list[Baseline] = []
    edges = [_Cut(0, results[0].day, "first", None), *cuts]
    for number, cut in enumerate(edges):
        end = edges[number + 1].at if number + 1 < len(edges) else len(results)
        inside = tuple(results[cut.at : end])
        if inside or number + 1 == len(edges):
            begins = min(cut.day, inside[0].day) if inside else cut.day
            parts.append(Baseline(cut.reason, begins, inside, cut.after_move_of))
    return parts


def _cuts(results: Sequence[Measurement], history: History) -> list[_Cut]:
    one = results[-1]
    cuts = [
        _Cut(
            sum((r.day, r.order) <= (move.day, move.order) for r in results),
            move.day,
            "moved",
            move.finding,
        )
        for move in history.moves
        if one.turns_fence and (one.jig, one.saw) == (move.jig, move.saw)
    ]
    cuts += [
        _Cut(sum(r.day < event.day for r in results), event.day, event.what, None)
        for event in history.events
        if _of_event(one, event, history)
    ]
    return sorted(cuts, key=lambda cut: (cut.at, cut.day))


def _of_event(one: Measurement, event: GearEvent, history: History) -> bool:
    if one.quantity == "square":  # the square's own error: the fence does not turn it
        if event.what == "square":
            return one.square in _used(history, event.jig, "square")
        return event.what == "accepted" and one.jig == event.jig
    if one.jig is not None:
        return one.jig == event.jig
    return event.what in OF_THE_SAW and one.saw in _used(history, event.jig, "saw")


def _used(history: History, jig: str, what: str) -> set[str | None]:
    """Names of the squares or saws that results of a sled name."""
    return {getattr(r, what) for r in history.results if r.jig == jig}
