"""What somebody says happened to a sled, its saw or its square, written down."""

from __future__ import annotations

import asyncio
import time
from datetime import UTC, datetime

from bench.daemon.log_requests import LogService
from bench.daemon.outbox import Send
from bench.log.tables import GEAR_EVENT
from bench.log.upkeep_history import jigs_of_log
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Done, NoteEvent
from bench.render.upkeep import gear_event_values
from bench.upkeep.dates import DAY_S, FIRST_DAY, day_of, time_of


async def note_event(service: LogService, send: Send, request: NoteEvent) -> None:
    """Raises InvalidRequest for a sled that nobody knows, or a date that cannot be."""
    known = [*service.settings.gear.jigs]
    if request.jig not in known:
        known += await asyncio.to_thread(jigs_of_log, service.paths.log)
    if request.jig not in known:
        there = ", ".join(dict.fromkeys(known)) or "none yet"
        raise InvalidRequest(f"no sled is called {request.jig!r}; there are: {there}")
    data = {
        "jig": request.jig,
        "what": request.what,
        "note": request.note,
        "at": _moment(request.at),
    }
    service.log.event(None, GEAR_EVENT, data, urgent=True)
    noted = StatusMessage("gear-event-noted", gear_event_values(data))
    send(Done(ref=request.ref, remarks=[noted]))


def _moment(at: str | None) -> str:
    now = time.time() / DAY_S
    if at is None:
        # a result of this very second, whose date has no fraction, lies before it
        return datetime.now(UTC).isoformat(timespec="milliseconds")
    try:
        day = day_of(at)
    except ValueError as error:
        raise InvalidRequest(
            f"{at!r} is no date; 2026-03-01 or 2026-03-01T10:30 would do"
        ) from error
    if not FIRST_DAY <= day <= now + 1:
        raise InvalidRequest(
            f"{at} lies ahead, or before anything was recorded: give a day gone by"
        )
    return time_of(day)
