"""The events of the log as sentences: what instruments, passes, gear, clock and log
did.

Blocking; called off the event loop.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bench.log.acknowledged import lacking_words, salvage_words
from bench.log.events import list_incidents
from bench.log.read_only import open_read
from bench.log.rows import Incident
from bench.procedure.status_message import StatusMessage
from bench.protocol import LogEvent
from bench.render.clock import jump_words
from bench.render.names import placement_name, plain, upper_first
from bench.render.notices import stored_reason, stored_text, text
from bench.render.upkeep import gear_event_values
from bench.render.wording import ended, with_name
from bench.units import System


def events(path: Path, most: int, units: System = "mm") -> list[LogEvent]:
    """Newest first. Raises LogError."""
    with open_read(path) as db:
        return [_told(one, units) for one in list_incidents(db, most)]


def _told(one: Incident, units: System) -> LogEvent:
    about, words = incident_words(one, units)
    at = datetime.fromtimestamp(one.wall_s, UTC).isoformat(timespec="seconds")
    return LogEvent(at, one.synced, one.kind, about, words[:1].upper() + words[1:])


def incident_words(one: Incident, units: System = "mm") -> tuple[str, str]:
    """What it is about, and a sentence. The event of an older or newer program may
    hold fewer values, or its words instead of a code."""
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


def _message(kind: str, name: str, data: dict[str, Any]) -> tuple[str, StatusMessage]:
    """What it is about, and the message of which its sentence is made."""
    match kind:
        case "unit":
            values = {"name": name, "before": data.get("from"), "unit": data.get("to")}
            return name, StatusMessage("unit-switched", values)
        case "gear-event":
            return "gear", StatusMessage("gear-event", gear_event_values(data))
        case "held":
            values = {"name": name, **_some(data, "value", "held")}
            if name == "travel":
                return name, StatusMessage("travel-held", values)
            return name, StatusMessage("reading-held", values)
        case "learned":
            what = str(data.get("what", name))
            pairs = dict(data.get("values") or {}).items()
            kept = ", ".join(f"{key} {value}" for key, value in pairs)
            if kept:
                values = {"what": what, "kept": kept}
                return what, StatusMessage("event-learned-values", values)
            return what, StatusMessage("event-learned", {"what": what})
        case "leaf":
            values = {"leaf": data.get("leaf_mm"), "seen": data.get("change_mm")}
            if data.get("outcome") == "proved":
                return "indicator", StatusMessage("event-leaf-proved", values)
            return "indicator", StatusMessage("event-leaf-unproved", values)
        case "clock":
            return "clock", StatusMessage("event-clock-set")
    return "log", _log_message(kind, data)


def _log_message(kind: str, data: dict[str, Any]) -> StatusMessage:
    match kind:
        case "opened":
            return StatusMessage("event-opened", _some(data, "program"))
        case "unread":
            return StatusMessage("event-unread")
        case "imported":
            return StatusMessage("event-imported", _some(data, "taken", "known"))
        case "not-recorded":
            values = _some(data, "readings", "why")
            return StatusMessage("event-not-recorded", values)
        case _:
            return StatusMessage("event-refused", _some(data, "readings", "why"))


def _some(data: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: data.get(name) for name in names}


def _pass_words(one: Incident, units: System) -> str:
    reason = ended(stored_reason(one.reason or "", units))
    where = f"{plain(one.check or '')}, {placement_name(one.placement or '')}"
    return f"{where}: {upper_first(reason)}"
