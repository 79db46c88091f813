"""Requests about the check in progress, and about the move that a result asks for."""

from __future__ import annotations

import asyncio

import msgspec

from bench.daemon.request_context import RequestContext
from bench.daemon.tones import MarkBeat
from bench.finding import Finding
from bench.log.upkeep_history import why_whole_check
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Abandon,
    Begin,
    Done,
    Extend,
    Live,
    Moved,
    Press,
    PromptChanged,
    Saved,
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
    joined = service.bench.begin(request, context.now)
    service.learner.end()
    session = service.bench.checking.in_progress()
    if beat is not None:
        session.beat = MarkBeat(beat, context.now)
    return session.run.asking(joined=joined)


async def _as_quick(context: RequestContext, request: Begin) -> Begin:
    """A quick check is begun with the wall that the sled was held to. Raises
    InvalidRequest where a whole check must come first."""
    shared = context.shared
    wired = shared.settings.indicator
    gear = context.service.bench.checking.gear_for(request)
    port = wired.port if wired is not None else None
    why, hold = await asyncio.to_thread(why_whole_check, shared.paths.log, gear, port)
    if why is not None:
        raise InvalidRequest(WHOLE_CHECK_REASONS[why])
    options = {"hold": hold, **request.options}
    return msgspec.structs.replace(request, options=options)


def press(context: RequestContext, request: Press) -> Done:
    used = context.service.press(context.now, waits=request.waits)
    return Done("taken" if used else "nothing asks for it")


def undo(context: RequestContext, request: Undo) -> Done:
    return Done(remarks=[context.service.bench.undo(context.now)])


def abandon(context: RequestContext, request: Abandon) -> Done:
    remark = context.service.bench.abandon(context.now)
    context.shared.outbox.tell(PromptChanged(run=None))
    return Done(remarks=[remark])


def extend(context: RequestContext, request: Extend) -> Done:
    context.service.bench.checking.extend(request, context.now)
    return Done(remarks=[StatusMessage("extended", {"sweeps": request.sweeps})])


def moved(context: RequestContext, request: Moved) -> Done:
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
    context.shared.outbox.tell(Saved("move", found.id))
    values = {"end": move.end, "way": move.way, "distance": distance}
    return Done(remarks=[StatusMessage("move-noted", values)])


def live(context: RequestContext, request: Live) -> Done:
    service = context.service
    if not request.on:
        service.bench.live.end()
        return Done("left")
    service.learner.end()
    service.bench.start_live(request, _with_move(context, request.finding))
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
