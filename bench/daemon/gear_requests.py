"""Requests that write down the user's instruments and gear, units or sound, and what
happened to the gear."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from datetime import UTC, datetime

from bench.daemon.check_controller import HOW_TO_END
from bench.daemon.request_context import RequestContext
from bench.gear import Gear
from bench.log.schema import GEAR_EVENT
from bench.log.upkeep_history import jigs_of_log
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.status_message import status
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
from bench.settings.editor import GearKind, add_gear, write_setting
from bench.settings.settings_file import load
from bench.upkeep.dates import DAY_S, FIRST_DAY, day_of, time_of

# the code of what is told of a setting, by its value
SET = {"mm": "units-mm", "inch": "units-inch", True: "sound-on", False: "sound-off"}
Texts = Mapping[str, str | list[str]]


def learn(context: RequestContext, request: Learn) -> Done:
    learner = context.service.device_setup
    if request.on:
        learner.start(request, context.now)
    else:
        learner.end()
    return Done("learning" if request.on else "left")


async def put_setting(context: RequestContext, request: PutUnits | PutSound) -> Done:
    """Write into the settings file what people see or hear, and use it at once."""
    service, paths = context.service, context.shared.paths
    if (why := service.busy()) is not None:
        raise InvalidRequest(why)
    file, gear = paths.settings, paths.gear
    key, value = (
        ("sound", request.on)
        if isinstance(request, PutSound)
        else ("units", request.units)
    )
    await service.rewire(
        await asyncio.to_thread(write_setting, file, key, value, gear_path=gear)
    )
    return Done(remarks=[status(SET[value], file=file.name)])


async def put_gear(
    context: RequestContext, request: PutJig | PutSaw | PutSquare | PutLeaves
) -> Done:
    """Write gear into gear.toml beside the log, which is checked whole before a byte is
    written and read again afterwards."""
    service, paths = context.service, context.shared.paths
    if service.station.run is not None:
        raise InvalidRequest(f"a check is in progress; {HOW_TO_END}")
    kind, name, texts = _gear_of(request)

    def write() -> Gear:
        add_gear(paths.gear, kind, name, texts, settings_path=paths.settings)
        return load(paths.settings, paths.gear).gear

    service.new_gear(await asyncio.to_thread(write))
    return Done(remarks=[status("gear-kept", name=name or kind, path=paths.gear.name)])


def _gear_of(
    request: PutJig | PutSaw | PutSquare | PutLeaves,
) -> tuple[GearKind, str | None, Texts]:
    """The kind and name of the gear, and the texts that are written of it."""
    match request:
        case PutJig(jig=jig):
            return "jig", jig.name, jig_texts(jig)
        case PutSaw(saw=saw):
            return "saw", saw.name, saw_texts(saw)
        case PutSquare(square=square):
            return "square", square.name, square_texts(square)
        case PutLeaves(leaves=leaves):
            return "leaves", None, {"set": [f"{leaf!r} mm" for leaf in leaves]}


async def note_event(context: RequestContext, request: NoteEvent) -> Done:
    """Record an event of a sled, its saw or its square that somebody tells. Raises
    InvalidRequest for a sled that nobody knows, or an impossible date."""
    shared = context.shared
    known = [*shared.settings.gear.jigs]
    if request.jig not in known:
        known += await asyncio.to_thread(jigs_of_log, shared.paths.log)
    if request.jig not in known:
        there = ", ".join(dict.fromkeys(known)) or "none yet"
        raise InvalidRequest(f"no sled is called {request.jig!r}; there are: {there}")
    data = {"jig": request.jig, "what": request.what, "note": request.note}
    data["at"] = _moment(request.at)
    shared.log.event(None, GEAR_EVENT, data, urgent=True)
    return Done(remarks=[status("gear-event-noted", **gear_event_values(data))])


def _moment(at: str | None) -> str:
    if at is None:
        # a result of this very second, whose date has no fraction, lies before it
        return datetime.now(UTC).isoformat(timespec="milliseconds")
    try:
        day = day_of(at)
    except ValueError as error:
        raise InvalidRequest(
            f"{at!r} is no date; 2026-03-01 or 2026-03-01T10:30 would do"
        ) from error
    if not FIRST_DAY <= day <= time.time() / DAY_S + 1:
        raise InvalidRequest(
            f"{at} lies ahead, or before anything was recorded: give a day gone by"
        )
    return time_of(day)
