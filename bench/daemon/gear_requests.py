"""Requests that write down the user's instruments and gear, units or sound, and what
happened to the gear."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from datetime import UTC, datetime

from bench.daemon.request_context import RequestContext
from bench.gear import Gear
from bench.log.schema import GEAR_EVENT
from bench.log.upkeep_history import jigs_of_log
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Done,
    Learn,
    NoteEvent,
    PutJig,
    PutLeaves,
    PutSaw,
    PutSound,
    PutSquare,
    PutUnits,
)
from bench.render.gear import jig_texts, saw_texts, square_texts
from bench.render.upkeep import gear_event_values
from bench.settings.edit import GearKind, add_gear, write_setting
from bench.settings.settings_file import load
from bench.upkeep.dates import DAY_S, FIRST_DAY, day_of, time_of

Texts = Mapping[str, str | list[str]]


def learn(context: RequestContext, request: Learn) -> Done:
    learner = context.service.learner
    if request.on:
        learner.start(request, context.now)
    else:
        learner.end()
    return Done("learning" if request.on else "left")


async def put_units(context: RequestContext, request: PutUnits) -> Done:
    code = "units-mm" if request.units == "mm" else "units-inch"
    return await _put_setting(context, "units", request.units, code)


async def put_sound(context: RequestContext, request: PutSound) -> Done:
    code = "sound-on" if request.on else "sound-off"
    return await _put_setting(context, "sound", request.on, code)


async def _put_setting(
    context: RequestContext, key: str, value: str | bool, code: str
) -> Done:
    """What people see or hear: kept in the settings file, and true at once."""
    service = context.service
    if (why := service.busy()) is not None:
        raise InvalidRequest(why)
    paths = service.paths
    settings = await asyncio.to_thread(
        write_setting, paths.settings, key, value, gear_path=paths.gear
    )
    await service.rewire(settings)
    return Done(remarks=[StatusMessage(code, {"file": paths.settings.name})])


async def put_jig(context: RequestContext, request: PutJig) -> Done:
    return await _put_gear(context, "jig", request.jig.name, jig_texts(request.jig))


async def put_saw(context: RequestContext, request: PutSaw) -> Done:
    return await _put_gear(context, "saw", request.saw.name, saw_texts(request.saw))


async def put_square(context: RequestContext, request: PutSquare) -> Done:
    square = request.square
    return await _put_gear(context, "square", square.name, square_texts(square))


async def put_leaves(context: RequestContext, request: PutLeaves) -> Done:
    texts = {"set": [f"{leaf!r} mm" for leaf in request.leaves]}
    return await _put_gear(context, "leaves", None, texts)


async def _put_gear(
    context: RequestContext, kind: GearKind, name: str | None, texts: Texts
) -> Done:
    """Into gear.toml beside the log, checked whole before a byte is written; then
    read again."""
    service = context.service
    if service.bench.run is not None:
        raise InvalidRequest(
            "a check is in progress; finish it, or end it with `sweepgauge abandon`"
        )
    paths = service.paths

    def write() -> Gear:
        add_gear(paths.gear, kind, name, texts, settings_path=paths.settings)
        return load(paths.settings, paths.gear).gear

    service.new_gear(await asyncio.to_thread(write))
    values = {"name": name or kind, "path": paths.gear.name}
    return Done(remarks=[StatusMessage("gear-kept", values)])


async def note_event(context: RequestContext, request: NoteEvent) -> Done:
    """What somebody says happened to a sled, its saw or its square. Raises
    InvalidRequest for a sled that nobody knows, or a date that cannot be."""
    service = context.service
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
    return Done(remarks=[StatusMessage("gear-event-noted", gear_event_values(data))])


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
