"""The events of the log as sentences: what instruments, passes, gear, clock and log
did.

Blocking; called off the event loop.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bench.log.events import list_incidents
from bench.log.read_only import open_read
from bench.log.recover import lacking_words, salvage_words
from bench.log.rows import Incident
from bench.log.tables import GEAR_EVENT
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
    about, words = _words(one, one.data, units)
    at = datetime.fromtimestamp(one.wall_s, UTC).isoformat(timespec="seconds")
    return LogEvent(at, one.synced, one.kind, about, words[:1].upper() + words[1:])


def _words(one: Incident, data: dict[str, Any], units: System) -> tuple[str, str]:
    """What it is about, and a sentence. The event of an older or newer program may
    hold fewer values, or its words instead of a code."""
    name = str(data.get("name", "instrument"))
    if one.kind in ("instrument", "spoiled"):
        words = stored_text(data, units)
        return name, with_name(name, words)
    if one.kind == "unit":
        values = {"name": name, "before": data.get("from"), "unit": data.get("to")}
        return name, text([StatusMessage("unit-switched", values)])
    if one.kind == GEAR_EVENT:
        return "gear", text([StatusMessage("gear-event", gear_event_values(data))])
    if one.kind == "held":
        code = "travel-held" if name == "travel" else "reading-held"
        values = {"name": name, "value": data.get("value"), "held": data.get("held")}
        return name, text([StatusMessage(code, values)], units)
    if one.kind == "learned":
        what = str(data.get("what", name))
        pairs = dict(data.get("values") or {}).items()
        kept = ", ".join(f"{key} {value}" for key, value in pairs)
        values = {"what": what, "kept": kept}
        code = "event-learned-values" if kept else "event-learned"
        return what, text([StatusMessage(code, values)])
    if one.kind == "leaf":
        values = {"leaf": data.get("leaf_mm"), "seen": data.get("change_mm")}
        proved = data.get("outcome") == "proved"
        code = "event-leaf-proved" if proved else "event-leaf-unproved"
        return "indicator", text([StatusMessage(code, values)], units)
    if one.kind in ("sweep-ended", "sweep-undone"):
        return "pass", _pass_words(one, units)
    if one.kind == "clock-jumped":
        return "clock", f"{jump_words(float(data.get('seconds', 0.0)))}."
    if one.kind == "clock":
        return "clock", text([StatusMessage("event-clock-set")])
    return "log", _log_words(one.kind, data)


def _pass_words(one: Incident, units: System) -> str:
    reason = ended(stored_reason(one.reason or "", units))
    where = f"{plain(one.check or '')}, {placement_name(one.placement or '')}"
    return f"{where}: {upper_first(reason)}"


def _log_words(kind: str, data: dict[str, Any]) -> str:
    if kind == "log-salvaged":
        return salvage_words(data)
    if kind == "log-lacks":
        return lacking_words(data)
    if kind == "opened":
        return text([StatusMessage("event-opened", {"program": data.get("program")})])
    if kind == "unread":
        return text([StatusMessage("event-unread")])
    if kind == "imported":
        counts = {"taken": data.get("taken"), "known": data.get("known")}
        return text([StatusMessage("event-imported", counts)])
    why = {"readings": data.get("readings"), "why": data.get("why")}
    if kind == "not-recorded":
        return text([StatusMessage("event-not-recorded", why)])
    return text([StatusMessage("event-refused", why)])
