"""Requests about the check in progress, and about the move that a result asks for."""

from __future__ import annotations

import asyncio

import msgspec

from bench.daemon.request_context import RequestContext
from bench.daemon.tones import MarkBeat
from bench.finding import Finding
from bench.log.upkeep_history import why_whole_check
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.status_message import status
from bench.protocol import (
    Abandon,
    Begin,
    Done,
    Extend,
    LiveMoveRequest,
    NoteMove,
    Press,
    PromptChanged,
    SavedNotice,
    Undo,
)
from bench.render.upkeep import WHOLE_CHECK_REASONS

SHORTEST_BEAT, LONGEST_BEAT = 1.0, 60.0  # s


async def begin(context: RequestContext, request: Begin) -> PromptChanged:
    service, beat = context.service, request.beat
    if request.options.get("quick"):
        request = await _as_quick(context, request)
    if beat is not None and not SHORTEST_BEAT <= beat <= LONGEST_BEAT:
        raise InvalidRequest(
            f"--beat takes {SHORTEST_BEAT:g} to {LONGEST_BEAT:g} s, not {beat:g}"
        )
    joined = service.station.begin(request, context.now)
    service.device_setup.end()
    session = service.station.controller.in_progress()
    if beat is not None:
        session.beat = MarkBeat(beat, context.now)
    return session.run.prompt_changed(joined=joined)


async def _as_quick(context: RequestContext, request: Begin) -> Begin:
    """A quick check is begun with the wall that the sled was held to. Raises
    InvalidRequest where a whole check must come first."""
    shared = context.shared
    gear = context.service.station.controller.gear_for(request)
    path, port = shared.paths.log, shared.indicator_port
    why, hold = await asyncio.to_thread(why_whole_check, path, gear, port)
    if why is not None:
        raise InvalidRequest(WHOLE_CHECK_REASONS[why])
    options = {"hold": hold, **request.options}
    return msgspec.structs.replace(request, options=options)


def press(context: RequestContext, request: Press) -> Done:
    used = context.service.press(context.now, waits=request.waits)
    return Done("taken" if used else "nothing asks for it")


def undo(context: RequestContext, request: Undo) -> Done:
    return Done(remarks=[context.service.station.undo(context.now)])


def abandon(context: RequestContext, request: Abandon) -> Done:
    remark = context.service.station.abandon(context.now)
    context.shared.outbox.tell(PromptChanged(run=None))
    return Done(remarks=[remark])


def extend(context: RequestContext, request: Extend) -> Done:
    context.service.station.controller.extend(request, context.now)
    return Done(remarks=[status("extended", sweeps=request.sweeps)])


def moved(context: RequestContext, request: NoteMove) -> Done:
    found = _with_move(context, request.finding, request.jig)
    assert found.move is not None
    move, distance = found.move, request.distance
    if distance is None:
        if found.proposed is None:
            raise InvalidRequest(
                "that result is too close to call and named no move: say with"
                " --distance how far it went"
            )
        distance = move.distance
    made = {"distance_mm": distance, "how": request.how}
    context.shared.log.move_made(f"move-{found.id}", made)
    context.shared.outbox.tell(SavedNotice("move", found.id))
    noted = status("move-noted", end=move.end, way=move.way, distance=distance)
    return Done(remarks=[noted])


def live(context: RequestContext, request: LiveMoveRequest) -> Done:
    service = context.service
    if not request.on:
        service.station.live.end()
        return Done("left")
    service.device_setup.end()
    service.station.start_live(request, _with_move(context, request.finding))
    return Done("live")


def _with_move(
    context: RequestContext, finding: str | None, jig: str | None = None
) -> Finding:
    """The latest finding with a move, proposed or not. Raises InvalidRequest."""
    for found in context.shared.last:
        named = finding is None or found.id == finding
        if named and (jig is None or found.jig == jig) and found.move is not None:
            return found
    raise InvalidRequest(
        "no recent result asks for a move" + (f" of {jig}" if jig else "")
    )
