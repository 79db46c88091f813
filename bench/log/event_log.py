"""What happened to the instruments and to the log itself, in the words in which it was
told when it happened.

Blocking; called off the event loop.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bench.log import read
from bench.log.recover import lacking_words, salvage_words
from bench.log.rows import Happened
from bench.protocol import LogEvent
from bench.render.clock import jump_words
from bench.units import System, length_words


def events(path: Path, most: int, units: System = "mm") -> list[LogEvent]:
    """Newest first. Raises LogError."""
    with read.open_read(path) as db:
        return [_told(one, units) for one in read.happened(db, most)]


def _told(one: Happened, units: System) -> LogEvent:
    about, words = _words(one, one.data, units)
    at = datetime.fromtimestamp(one.wall_s, UTC).isoformat(timespec="seconds")
    return LogEvent(at, one.synced, one.kind, about, words[:1].upper() + words[1:])


def _words(one: Happened, data: dict[str, Any], units: System) -> tuple[str, str]:
    """What it is about, and a sentence. Of an older or newer program there may be less
    in it."""
    name = str(data.get("name", "instrument"))
    if one.kind in ("instrument", "spoiled"):
        words = str(data.get("words", ""))
        return name, words if name in words.lower() else f"{name}: {words}"
    if one.kind == "unit":
        return (
            name,
            f"The {name} was switched from {data.get('from')} to {data.get('to')}.",
        )
    if one.kind == "held":
        shown, jerk = (
            _length(data.get("value"), units),
            ("a jerk" if name == "travel" else "dust, a jerk"),
        )
        return (
            name,
            (
                f"One reading of the {name}, {shown}, was not used: it is off the path"
                f" of those around it ({jerk} or a bit lost; {data.get('held')} so"
                " far)."
            ),
        )
    if one.kind == "learned":
        what = str(data.get("what", name))
        kept = ", ".join(
            f"{key} {value}" for key, value in dict(data.get("values") or {}).items()
        )
        return what, f"The {what} was found and kept in the settings" + (
            f": {kept}." if kept else "."
        )
    if one.kind == "leaf":
        leaf, seen = (
            _length(data.get("leaf_mm"), units),
            _length(data.get("change_mm"), units),
        )
        proved = data.get("outcome") == "proved"
        return "indicator", (
            f"A leaf of {leaf} was slipped under the tip, and the number moved by"
            f" {seen}: "
            + ("right unit, right way." if proved else "it proved nothing.")
        )
    if one.kind in ("sweep-ended", "sweep-undone"):
        return "pass", _pass_words(one)
    if one.kind == "clock-jumped":
        return "clock", f"{jump_words(float(data.get('seconds', 0.0)))}."
    if one.kind == "clock":
        return "clock", "The clock of this machine was set by a network."
    return "log", _log_words(one.kind, data)


def _pass_words(one: Happened) -> str:
    reason = (one.reason or str(one.data.get("reason", ""))).strip()
    if not reason.endswith((".", "?", "!")):
        reason += "."
    return f"{one.check}, {one.placement}: {reason[:1].upper()}{reason[1:]}"


def _log_words(kind: str, data: dict[str, Any]) -> str:
    if kind == "opened":
        return f"The log was opened by {data.get('program')}."
    if kind == "log-salvaged":
        return salvage_words(data)
    if kind == "log-lacks":
        return lacking_words(data)
    if kind == "unread":
        return "One event of the log can no longer be read."
    if kind == "not-recorded":
        return (
            f"{data.get('readings')} readings of a pass were not recorded:"
            f" {data.get('why')}."
        )
    return f"The log could not take one entry: {data.get('why')}."


def _length(mm: object, units: System) -> str:
    if not isinstance(mm, int | float):
        return "an unknown length"
    return length_words(float(mm), units, 3 if units == "mm" else None)
