"""Reads the events of the log, each in the order in which it was recorded, and tells
them in sentences: what instruments, passes, gear, clock and log did.

Blocking; called off the event loop.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec

from bench.log.dates import IMPORTED, BootClocks
from bench.log.high_water_marks import lacking_words, salvage_words
from bench.log.read_only import open_read
from bench.log.rows import ExportedEvent, Incident, LoggedEvent
from bench.log.schema import GEAR_EVENT
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import LogEvent
from bench.render.clock import jump_words
from bench.render.names import placement_name, spaced, upper_first
from bench.render.notices import stored_reason, stored_text, text
from bench.render.upkeep import gear_event_values
from bench.render.wording import with_full_stop, with_name
from bench.units import System

# the log was damaged; rows that were acknowledged as saved are missing
LOG_EVENTS = ("log-salvaged", "log-lacks")

_INCIDENT_KINDS = (  # of instruments, the gear, the clock and of the log itself
    GEAR_EVENT,
    *("instrument", "held", "spoiled", "unit", "learned", "leaf"),
    *(
        "clock",
        "clock-jumped",
        *LOG_EVENTS,
        "refused-by-log",
        "not-recorded",
        "imported",
    ),
)


def _in_data(key: str) -> str:
    """SQL for a value in an event's data; null where damage leaves no JSON."""
    value = f"json_extract(e.data_json, '$.{key}')"
    return f"CASE WHEN json_valid(e.data_json) THEN {value} END"


# why a movement of the sled was no pass: nobody was told of it
_HANDLING = (
    "too-short",
    "short-return",
    "return-of-refused",
    "return-of-undone",
    "marks-undone",
)


def _worth_telling(reason: str) -> str:
    """SQL: whether the reason was told. An earlier version wrote it in words, and as a
    sentence where it was told."""
    code = f"json_extract({reason}, '$.code')"
    known = ", ".join(f"'{one}'" for one in _HANDLING)
    return (
        f"CASE WHEN json_valid({reason}) THEN {code} NOT IN ({known})"
        f" ELSE {reason} GLOB '*[.?!]' END"
    )


# Openings of the log are incidents too; each comes before what was recorded in it.
_INCIDENTS = f"""
    SELECT e.kind, CAST(e.data_json AS BLOB), e.wall_s, e.clock_synced, e.monotonic_ns,
           boot.boot_id, r.check_kind, s.placement, s.reason,
           e.boot_key AS opening, e.event_key AS place
      FROM event AS e JOIN boot ON boot.boot_key = e.boot_key
      LEFT JOIN check_run AS r ON r.run_key = e.run_key
      LEFT JOIN sweep AS s
        ON e.kind IN ('sweep-ended', 'sweep-undone') AND s.sweep = {_in_data("sweep")}
     WHERE e.kind IN ({", ".join("?" * len(_INCIDENT_KINDS))})
        OR NOT json_valid(e.data_json)
        OR (e.kind = 'sweep-ended' AND {_in_data("state")} = 'interrupted')
        OR (e.kind = 'sweep-ended' AND {_worth_telling(_in_data("reason"))})
        OR (e.kind = 'sweep-undone' AND {_worth_telling("s.reason")})
     UNION ALL
    SELECT 'opened', json_object('program', program), wall_s, clock_synced,
           monotonic_ns, boot_id, NULL, NULL, NULL, boot_key, 0
      FROM boot WHERE boot_id NOT GLOB '{IMPORTED}*'
     ORDER BY opening DESC, place DESC LIMIT ?
"""


def list_events(db: sqlite3.Connection, run: str | None = None) -> list[LoggedEvent]:
    """The events of one check, or all, in the order of recording."""
    rows = db.execute(
        "SELECT kind, data_json FROM event LEFT JOIN check_run USING (run_key) WHERE"
        " coalesce(run = ?1, ?1 IS NULL) ORDER BY event_key",
        (run,),
    )
    return [LoggedEvent(kind, json.loads(data)) for kind, data in rows]


def instrument_events(db: sqlite3.Connection, since: float) -> list[Incident]:
    """The events of instruments and log, in and outside of checks, in the order of
    recording. since: wall s."""
    rows = db.execute(
        "SELECT kind, data_json, wall_s, clock_synced FROM event WHERE wall_s >= ? AND"
        " json_valid(data_json) AND kind IN ('instrument', 'held', 'spoiled', 'unit',"
        " ?, ?) ORDER BY event_key",
        (since, *LOG_EVENTS),
    )
    return [Incident(kind, json.loads(data), *when) for kind, data, *when in rows]


def list_incidents(db: sqlite3.Connection, most: int = -1) -> list[Incident]:
    """The incidents of instruments, clock and log, and the passes that were not used:
    newest first, at most so many.

    An opening of the log stands before all that was recorded in it. A pass is told
    where its reason was told, and was no mere handling of the sled. Dates are put right
    as those of findings are.
    """
    rows = db.execute(_INCIDENTS, (*_INCIDENT_KINDS, most))
    clocks = BootClocks(db)
    incidents = []
    for kind, data, wall, synced, monotonic, boot_id, *of_pass, _, _ in rows:
        at, known = clocks.date(wall, synced, monotonic, boot_id)
        try:
            incidents.append(Incident(kind, json.loads(data), at, known, *of_pass))
        except ValueError:
            incidents.append(Incident("unread", {}, at, known))
    return incidents


def list_gear_events(db: sqlite3.Connection) -> Iterator[ExportedEvent]:
    """The events of the gear, in the order of recording; dates put right as those of
    findings are. One that cannot be read is left aside."""
    clocks = BootClocks(db)
    rows = db.execute(
        "SELECT data_json, e.wall_s, e.clock_synced, e.monotonic_ns, boot_id FROM event"
        " AS e JOIN boot USING (boot_key) WHERE kind = ? AND json_valid(data_json)"
        " ORDER BY event_key",
        (GEAR_EVENT,),
    )
    for data, wall, synced, monotonic, boot_id in rows.fetchall():
        at, known = clocks.date(wall, synced, monotonic, boot_id)
        with suppress(msgspec.ValidationError):
            told = msgspec.json.decode(data, type=dict[str, str | None])
            yield ExportedEvent(
                kind=GEAR_EVENT, data=told, wall_s=at, clock_synced=known
            )


def events(path: Path, most: int, units: System = "mm") -> list[LogEvent]:
    """Newest first. Raises LogError."""
    with open_read(path) as db:
        return [_told(one, units) for one in list_incidents(db, most)]


def _told(one: Incident, units: System) -> LogEvent:
    about, words = incident_words(one, units)
    at = datetime.fromtimestamp(one.wall_s, UTC).isoformat(timespec="seconds")
    return LogEvent(at, one.synced, one.kind, about, words[:1].upper() + words[1:])


def incident_words(one: Incident, units: System = "mm") -> tuple[str, str]:
    """The subject of an incident, and its sentence. The event of an older or newer
    program may hold fewer values, or its words instead of a code."""
    data = one.data
    name = str(data.get("name", "instrument"))
    match one.kind:
        case "instrument" | "spoiled":
            return name, with_name(name, stored_text(data, units))
        case "sweep-ended" | "sweep-undone":
            return "pass", _pass_words(one, units)
        case "clock-jumped":
            return "clock", f"{jump_words(float(data.get('seconds', 0.0)))}."
        case "log-salvaged":
            return "log", salvage_words(data)
        case "log-lacks":
            return "log", lacking_words(data)
    about, message = _message(one.kind, name, data)
    return about, text([message], units)


_LEAF = {True: "event-leaf-proved", False: "event-leaf-unproved"}

# of the log itself, by kind: the code and the values that it is told with
_OF_LOG: dict[str, tuple[str, ...]] = {
    "opened": ("event-opened", "program"),
    "unread": ("event-unread",),
    "imported": ("event-imported", "taken", "known"),
    "not-recorded": ("event-not-recorded", "readings", "why"),
    "refused-by-log": ("event-refused", "readings", "why"),
}


def _message(kind: str, name: str, data: dict[str, Any]) -> tuple[str, StatusMessage]:
    """The subject of an incident, and the message of which its sentence is made."""
    match kind:
        case "unit":
            values = {"name": name, "before": data.get("from"), "unit": data.get("to")}
            return name, status("unit-switched", **values)
        case "gear-event":
            return "gear", status("gear-event", **gear_event_values(data))
        case "held":
            code = "travel-held" if name == "travel" else "reading-held"
            return name, status(code, name=name, **_some(data, "value", "held"))
        case "learned":
            what = str(data.get("what", name))
            pairs = dict(data.get("values") or {}).items()
            kept = ", ".join(f"{key} {value}" for key, value in pairs)
            code = "event-learned-values" if kept else "event-learned"
            return what, status(code, what=what, kept=kept)
        case "leaf":
            values = {"leaf": data.get("leaf_mm"), "seen": data.get("change_mm")}
            return "indicator", status(_LEAF[data.get("outcome") == "proved"], **values)
        case "clock":
            return "clock", status("event-clock-set")
    code, *names = _OF_LOG.get(kind, _OF_LOG["refused-by-log"])
    return "log", status(code, **_some(data, *names))


def _some(data: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: data.get(name) for name in names}


def _pass_words(one: Incident, units: System) -> str:
    reason = with_full_stop(stored_reason(one.reason or "", units))
    where = f"{spaced(one.check or '')}, {placement_name(one.placement or '')}"
    return f"{where}: {upper_first(reason)}"
