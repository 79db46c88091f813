"""A quick check is begun as the last whole one was, or the whole one is asked for."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import msgspec

from bench.checks.model import EvidenceGear
from bench.daemon.log_requests import LogService
from bench.log.upkeep_history import why_whole_check
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Begin
from bench.render.upkeep import WHY_WHOLE


async def as_quick(
    service: LogService, request: Begin, gear_for: Callable[[Begin], EvidenceGear]
) -> Begin:
    """The request with the wall that the sled was held to; another check as it is.
    Raises InvalidRequest where a whole check must come first."""
    if not request.options.get("quick"):
        return request
    indicator = service.settings.indicator
    why, hold = await asyncio.to_thread(
        why_whole_check,
        service.paths.log,
        gear_for(request),
        indicator.port if indicator is not None else None,
    )
    if why is not None:
        raise InvalidRequest(WHY_WHOLE[why])
    options = {"hold": hold, **request.options}
    return msgspec.structs.replace(request, options=options)
