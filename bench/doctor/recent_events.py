"""What instruments and the log did in the last 24 hours, from the log."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.log.events import LOG_EVENTS, instrument_events
from bench.log.loss_words import lacking_words, salvage_words
from bench.log.read_only import open_read
from bench.log.rows import LogError

DAY = 86_400.0  # s
# s before the day in which an instrument's last state is looked for
EARLIER = 30 * DAY
LATEST = 5  # events of an instrument that are shown with their times
_STATES = {
    "absent": "went away",
    "silent": "fell silent",
    "no-reading": "said it had no reading",
    "garbled": "sent what cannot be read",
    "flooding": "sent far too much",
    "busy": "was held by another program",
    "denied": "might not be opened",
}


class Trouble(NamedTuple):
    """wall: s. kind: what it did, to be counted. words: the whole sentence."""

    wall: float
    kind: str
    words: str


def recent_events(log: Path, now: float) -> Iterator[Diagnostic]:
    """One diagnostic for each instrument that had trouble in the day before `now` (wall
    s), and one for the log."""
    try:
        with open_read(log) as db:
            rows = instrument_events(db, now - DAY - EARLIER)
    except LogError:
        return  # another diagnostic says so
    troubles: dict[str, list[Trouble]] = {}
    states: dict[str, str] = {}  # of each instrument, as it was before
    for wall, kind, data in rows:
        about = "log" if kind in LOG_EVENTS else str(data.get("name", ""))
        before = states.get(about)
        if kind == "instrument":
            states[about] = str(data.get("state"))
        trouble = _trouble(kind, data, before)
        if trouble is not None and wall >= now - DAY:
            troubles.setdefault(about, []).append(Trouble(wall, *trouble))
    for about, its in troubles.items():
        counts = Counter(one.kind for one in its)
        listed = ", ".join(f"{kind} {_times(count)}" for kind, count in counts.items())
        evidence = tuple(f"{_clock(one.wall)} {one.words}" for one in its[-LATEST:])
        code = "log-troubles" if about == "log" else "troubles"
        yield diagnosis(about, code, listed=listed, evidence=evidence)


def _trouble(
    kind: str, data: Mapping[str, object], before: str | None
) -> tuple[str, str] | None:
    """What an event was, to be counted, and its sentence; None where it was no trouble.

    before: the instrument's state before the event.
    """
    words = str(data.get("words", ""))
    if kind == "log-salvaged":
        return "was damaged and read out", salvage_words(data)
    if kind == "log-lacks":
        return "lost what was saved", lacking_words(data)
    if kind == "held":
        return (
            "leapt and came back",
            f"leapt to {data.get('value')} mm and came back: not used",
        )
    if kind == "unit":
        return (
            "was switched to another unit",
            f"switched from {data.get('from')} to {data.get('to')}",
        )
    if kind == "spoiled":
        ended = data.get("code") == "reads-again"
        return None if ended else ("sent what cannot be used", words)
    state = str(data.get("state"))
    if state == "absent" and data.get("before", before) in (None, "", "absent"):
        return None  # it was absent before, and is still looked for
    return (_STATES[state], words) if state in _STATES else None


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _clock(wall: float) -> str:
    return time.strftime("%H:%M:%S", time.localtime(wall))
