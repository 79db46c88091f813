"""Requests that write down the user's gear, units or sound, and read them again."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Protocol

from bench.daemon.outbox import Send
from bench.daemon.station import Station
from bench.gear import Gear
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Done,
    PutJig,
    PutLeaves,
    PutSaw,
    PutSound,
    PutSquare,
    PutUnits,
)
from bench.render.gear import jig_texts, saw_texts, square_texts
from bench.settings.edit import add_gear, write_setting
from bench.settings.settings_file import Paths, Settings, load


class GearService(Protocol):
    """What of the daemon these requests change; see bench.daemon.service."""

    paths: Paths
    bench: Station

    def busy(self) -> str | None: ...
    def new_gear(self, gear: Gear) -> None: ...
    async def rewire(self, settings: Settings) -> None: ...


async def put_setting(
    service: GearService, send: Send, request: PutUnits | PutSound
) -> None:
    """What people see or hear: kept in the settings file, and true at once."""
    if (why := service.busy()) is not None:
        raise InvalidRequest(why)
    paths = service.paths
    key: str
    value: str | bool
    if isinstance(request, PutUnits):
        key, value = "units", request.units
        code = "units-mm" if request.units == "mm" else "units-inch"
    else:
        key, value = "sound", request.on
        code = "sound-on" if request.on else "sound-off"
    settings = await asyncio.to_thread(
        write_setting, paths.settings, key, value, gear_path=paths.gear
    )
    await service.rewire(settings)
    remark = StatusMessage(code, {"file": paths.settings.name})
    send(Done(ref=request.ref, remarks=[remark]))


async def put_gear(
    service: GearService, send: Send, request: PutJig | PutSaw | PutSquare | PutLeaves
) -> None:
    """Into gear.toml beside the log, checked whole before a byte is written; then
    read again."""
    if service.bench.run is not None:
        raise InvalidRequest(
            "a check is in progress; finish it, or end it with `sweepgauge abandon`"
        )
    name: str | None = None
    values: Mapping[str, str | list[str]]
    if isinstance(request, PutJig):
        name, values, kind = request.jig.name, jig_texts(request.jig), "jig"
    elif isinstance(request, PutSaw):
        name, values, kind = request.saw.name, saw_texts(request.saw), "saw"
    elif isinstance(request, PutSquare):
        name, values, kind = (
            request.square.name,
            square_texts(request.square),
            "square",
        )
    else:
        values, kind = (
            {"set": [f"{leaf!r} mm" for leaf in request.leaves]},
            "leaves",
        )
    paths = service.paths

    def write() -> Gear:
        add_gear(paths.gear, kind, name, values, settings_path=paths.settings)  # type: ignore[arg-type]
        return load(paths.settings, paths.gear).gear

    gear = await asyncio.to_thread(write)
    service.new_gear(gear)
    remark = StatusMessage("gear-kept", {"name": name or kind, "path": str(paths.gear)})
    send(Done(ref=request.ref, remarks=[remark]))
