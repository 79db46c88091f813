"""What instruments did while nobody looked: the day's cables, silences, leaps and error
words, from the log.

Reads the log and changes nothing in it.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from bench.doctor.matter import Matter, fault, told
from bench.log.read import LOG_EVENTS, instrument_events, open_read
from bench.log.recover import lacking_words, salvage_words
from bench.log.rows import LogError

DAY = 86_400.0  # s
LAST = 5  # of them are told with their times
_CARD = "keep a copy: `sweepgauge log export`; then put in a new card, cards wear out"
_STATES = {
    "silent": "fell silent",
    "no-reading": "said it had no reading",
    "garbled": "sent what cannot be read",
    "flooding": "sent far too much",
    "busy": "was held by another program",
    "denied": "might not be opened",
}


def lately(log: Path, now: float) -> Iterator[Matter]:
    """One matter an instrument that had trouble in the day before `now` (wall s);
    nothing where none had."""
    try:
        with open_read(log) as db:
            rows = instrument_events(db, now - DAY)
    except LogError:
        return  # that is told where the log is
    happened: dict[str, list[tuple[float, str, str]]] = {}
    for wall, kind, data in rows:
        if (what := _trouble(kind, data)) is not None:
            about = "log" if kind in LOG_EVENTS else str(data.get("name", ""))
            happened.setdefault(about, []).append((wall, *what))
    for name, troubles in happened.items():
        counts = Counter(short for _, short, _ in troubles)
        said = ", ".join(f"{short} {_times(count)}" for short, count in counts.items())
        words = f"in the last 24 hours it {said}"
        evidence = tuple(
            f"{_clock(wall)} {words}" for wall, _, words in troubles[-LAST:]
        )
        yield (
            fault(name, words, _CARD, evidence=evidence)
            if name == "log"
            else told(name, words, evidence=evidence)
        )


def _trouble(kind: str, data: dict[str, object]) -> tuple[str, str] | None:
    """(what it did, in words; the whole sentence) of an event; None where all was well."""
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
        return (
            None
            if words.endswith("reads again.")
            else ("sent what cannot be used", words)
        )
    if data.get("state") == "absent":
        return ("went away", words) if "went away" in words else None
    short = _STATES.get(str(data.get("state")))
    return None if short is None else (short, words)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _clock(wall: float) -> str:
    return time.strftime("%H:%M:%S", time.localtime(wall))
