"""Troubles of the instruments and of the log in the last 24 hours, from the log."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.log.events import LOG_EVENTS, incident_words, instrument_events
from bench.log.read_only import open_read
from bench.log.rows import Incident, LogError

DAY = 86_400.0  # s
# s before the day in which an instrument's last state is looked for
EARLIER = 30 * DAY
SHOWN_EVENTS = 5  # events of an instrument that are shown with their times
_STATES = {
    "absent": "went away",
    "silent": "fell silent",
    "no-reading": "said it had no reading",
    "garbled": "sent what cannot be read",
    "flooding": "sent far too much",
    "busy": "was held by another program",
    "denied": "might not be opened",
}


# what an event of another kind was, to be counted
_OTHER_KINDS = {
    "log-salvaged": "was damaged and read out",
    "log-lacks": "lost what was saved",
    "held": "leapt and came back",
    "unit": "was switched to another unit",
    "spoiled": "sent what cannot be used",
}


Trouble = tuple[str, str]  # what it was, to be counted; the sentence with its time


def recent_events(log: Path, now: float) -> Iterator[Diagnostic]:
    """Trouble of each instrument, and of the log, in the day before `now`, wall s."""
    try:
        with open_read(log) as db:
            rows = instrument_events(db, now - DAY - EARLIER)
    except LogError:
        return  # another diagnostic says so
    troubles: dict[str, list[Trouble]] = {}
    states: dict[str, str] = {}  # of each instrument, as it was before
    for one in rows:
        about = "log" if one.kind in LOG_EVENTS else str(one.data.get("name", ""))
        kind = _kind(one, states.get(about))
        if one.kind == "instrument":
            states[about] = str(one.data.get("state"))
        if kind is not None and one.wall_s >= now - DAY:
            at = time.strftime("%H:%M:%S", time.localtime(one.wall_s))
            words = f"{at} {incident_words(one)[1]}"
            troubles.setdefault(about, []).append((kind, words))
    for about, its in troubles.items():
        yield _counted(about, its)


def _counted(about: str, its: Sequence[Trouble]) -> Diagnostic:
    counts = Counter(kind for kind, _ in its)
    listed = ", ".join(f"{kind} {_times(count)}" for kind, count in counts.items())
    evidence = tuple(words for _, words in its[-SHOWN_EVENTS:])
    code = "log-troubles" if about == "log" else "troubles"
    return diagnosis(about, code, listed=listed, evidence=evidence)


def _kind(one: Incident, before: str | None) -> str | None:
    """What an event was, to be counted; None where it was no trouble. before: the
    instrument's state before the event."""
    if one.kind != "instrument":
        ended = one.data.get("code") == "reads-again"
        return None if ended else _OTHER_KINDS[one.kind]
    state = str(one.data.get("state"))
    if state == "absent" and one.data.get("before", before) in (None, "", "absent"):
        return None  # it was absent before, and is still looked for
    return _STATES.get(state)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
