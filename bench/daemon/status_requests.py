"""Requests that ask how things stand, and what a client wants to be told of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from bench import __version__
from bench.checks import checks
from bench.checks.model import Check, EvidenceGear
from bench.daemon.request_context import RequestContext
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import (
    Capture,
    CheckKind,
    ChecksReply,
    Done,
    GearReply,
    InstrumentState,
    NotesSeen,
    StatusReply,
    Watch,
)
from bench.render.notices import text

if TYPE_CHECKING:
    from bench.daemon.service import Service


def status(service: Service) -> StatusReply:
    run, recording = service.bench.run, service.recording.now
    return StatusReply(
        program=f"sweepgauge {__version__}",
        log=str(service.paths.log),
        recording=text(recording.remarks),
        instruments=[_with_way(service, one) for one in service.bench.states()],
        run=run.state() if run is not None else None,
        last=service.last,
        notes=service.notes,
        told=service.notes_told,
        log_state=recording.state,
    )


def _with_way(service: Service, one: InstrumentState) -> InstrumentState:
    """Which way its number counts, as it was learned or written."""
    gear = service.settings.gear
    ways = {"indicator": gear.indicator.grows, "travel": gear.travel.grows}
    return msgspec.structs.replace(one, grows=ways.get(one.role, ""))


def gear(service: Service) -> GearReply:
    settings = service.settings
    gear = settings.gear
    return GearReply(
        jigs=list(gear.jigs.values()),
        saws=list(gear.saws.values()),
        squares=list(gear.squares.values()),
        leaves=list(gear.leaves),
        units=settings.units,
        sound=settings.sound,
        marks=list(gear.travel.marks) if gear.travel.by_marks else [],
    )


def kinds(service: Service) -> ChecksReply:
    return ChecksReply([_kind(service, check) for check in checks().values()])


def _kind(service: Service, check: Check) -> CheckKind:
    steps = check.plan({}, EvidenceGear())
    why = service.bench.checking.why_not(check, {}, EvidenceGear())
    return CheckKind(
        kind=check.kind,
        question=check.question,
        needs=list(check.needs),
        options=[option for option in check.options if not option.recorded],
        can=why is None,
        why_not=why or "",
        swept=any(step.gather == "sweep" for step in steps),
        sided=any(step.leans for step in steps),
        verifies=check.lighter is not None,
        turns_fence=check.turns_fence,
        picture=steps[0].picture if steps else None,
        side=steps[0].side if steps else None,
    )


def notes_seen(context: RequestContext, request: NotesSeen) -> Done:
    service = context.service
    seen = min(request.count, len(service.notes))
    service.notes_told = max(service.notes_told, seen)
    return Done("seen")


def watch(context: RequestContext, request: Watch) -> None:
    client = context.client
    client.watching, client.most = request.on, request.most
    context.send(Done("watching" if request.on else "no longer watching", request.ref))
    if request.on:
        context.service.learner.greet(context.send)


def capture(context: RequestContext, request: Capture) -> Done:
    names = [i.name for i in context.service.bench.instruments]
    if not names and not request.instrument:
        raise InvalidRequest(
            "no instrument is set up yet: `sweepgauge learn indicator` finds its cable"
        )
    name = request.instrument or names[0]
    if name not in names:
        raise InvalidRequest(
            f"no instrument is called {name!r}; there are: {', '.join(names) or 'none'}"
        )
    context.client.capturing = name if request.on else None
    return Done(name)
