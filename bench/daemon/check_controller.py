"""The check in progress in the daemon: begun, joined, taken up again, gone on with,
given up. At most one at a time.

A check that verifies a move is a lighter one, and none has tests that do not apply.
"""

from __future__ import annotations

import contextlib
import logging
import time
import uuid
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks import UnknownCheck, find
from bench.checks.model import (
    Caution,
    Check,
    EvidenceGear,
    LeanTest,
    PriorKnowledge,
    Step,
    TapTest,
)
from bench.checks.options import OptionValue, understood, validated
from bench.daemon.check_session import CheckSession, known_of
from bench.daemon.shared_state import SharedState
from bench.finding import Finding
from bench.log.rows import OpenCheck
from bench.log.startup_history import CautionAcknowledgement
from bench.log.store import gear_names
from bench.procedure.acknowledged_cautions import AcknowledgedCautions
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.gear_selection import use
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import Begin, Extend, notice
from bench.render.prompts import prompt_words
from bench.upkeep.history import COLDEST, HOTTEST, sound_climate

log = logging.getLogger("sweepgauge")

HOW_TO_END = "finish it, or end it with `sweepgauge abandon`"
MOST_PUSHES_ASKED = 50  # of a set-up, and of an extension


class CheckController:
    """Begins, extends, takes up and ends checks. session: the check in progress.
    at_rest: whether the sled rests."""

    def __init__(self, shared: SharedState, at_rest: Callable[[], bool]) -> None:
        self.session: CheckSession | None = None
        self.cautions = AcknowledgedCautions()
        self._shared, self._at_rest = shared, at_rest
        # the latest check with a result, which may still be extended
        self._finished: CheckSession | None = None

    @property
    def run(self) -> CheckProcedure | None:
        return self.session.run if self.session is not None else None

    def in_progress(self) -> CheckSession:
        """Raises InvalidRequest where there is none."""
        if self.session is None:
            raise InvalidRequest("no check is in progress")
        return self.session

    def gear_for(self, begin: Begin) -> EvidenceGear:
        """The user's gear that this check uses. Raises GearUnknown naming what there
        is."""
        gear = self._shared.settings.gear
        return use(gear, jig=begin.jig, saw=begin.saw, square=begin.square)

    def _known_to(self, request: Begin) -> PriorKnowledge:
        gear = self.gear_for(request)
        return known_of(self._shared, gear, request.check, request.options)

    def _make(
        self,
        run_id: str,
        request: Begin,
        gear: EvidenceGear,
        cautions: Sequence[Caution] | None = None,
    ) -> CheckSession:
        parts = run_id, request, gear, self._shared, self._at_rest, self._ended
        return CheckSession(*parts, cautions=cautions)

    def _ended(self, session: CheckSession) -> None:
        self.session = None
        if session.finding is not None:
            self._finished = session

    # ---- begun, gone on with, taken up again -----------------------------------------

    def begin(self, request: Begin, now: float) -> bool:
        """Begin, or join the same check in progress; True when joined. Raises
        InvalidRequest, UnknownCheck, OptionError."""
        settings, before = self._shared.settings, self._shared.recent(request.verifies)
        check, request = _understood(request, before, self._known_to)
        if self.session is not None:
            if _same(self.session.begun, request):
                return True
            asked = prompt_words(self.session.run.ask, settings.units)
            kind = self.session.run.check.kind
            raise InvalidRequest(f"{kind} is in progress ({asked}); {HOW_TO_END}")
        gear = self.gear_for(request)
        if (why := _refusal(check, request, gear, settings.wired)) is not None:
            raise InvalidRequest(why)
        self._shared.climate.want()
        saw, today = gear_names(gear)[1], _day(time.time())
        cautions = self.cautions.due(check.cautions, saw, today)
        session = self._make(uuid.uuid4().hex[:12], request, gear, cautions)
        self.session, run = session, session.run
        session.record_begin()
        if len(cautions) < len(check.cautions):
            skipped = [c.name for c in check.cautions if c not in cautions]
            data = {"cautions": skipped, "asked": [c.name for c in cautions]}
            session.event(run.id, "cautions-known", data)
        self._acknowledge(run)
        run.settle_down(now)
        log.info("check %s begins: %s", run.id, request.check)
        return False

    def extend(self, request: Extend, now: float) -> None:
        """Go on with the latest check after all: more pushes in every set-up, then a
        later, stricter look."""
        session = self._finished
        if self.run is not None:
            raise InvalidRequest(f"{self.run.check.kind} is in progress")
        if session is None or request.finding not in (None, session.finding):
            raise InvalidRequest(
                "only the latest check can go on, and not after a restart"
            )
        if session.run.extensions:
            # Each further look makes a wrong verdict likelier.
            why = "it went on once already: begin the check anew"
            raise InvalidRequest(why)
        if not 1 <= request.sweeps <= MOST_PUSHES_ASKED:
            most = f"1 to {MOST_PUSHES_ASKED} passes more"
            raise InvalidRequest(f"{most}, not {request.sweeps}")
        self.session, session.supersedes, session.over = session, session.finding, False
        self._shared.log.reopen(session.run.id)
        session.run.extend(request.sweeps, now)

    def take_up(self, left: OpenCheck, now: float) -> StatusMessage:
        """Go on with a check that the last life left; says so."""
        begun = next((e.data for e in left.events if e.kind == "asked-for"), None)
        try:
            request = msgspec.convert(begun, Begin)
            options, wrong = understood(find(request.check), request.options)
            request = msgspec.structs.replace(request, options=options)
            session = self._make(left.run, request, self.gear_for(request))
        except (msgspec.ValidationError, InvalidRequest, UnknownCheck) as error:
            self._shared.log.abandon(left.run, f"could not be taken up again: {error}")
            return status("check-not-taken-up", check=left.check, why=str(error))
        self.session, run = session, session.run
        for more in (e.data for e in left.events if e.kind == "extended"):
            run.extended(int(str(more["sweeps"])))
            session.supersedes = left.findings[-1] if left.findings else None
        run.resume(**_progress(left), now=now)
        kept = sum(1 for t in run.passes.traces if t.push)
        values: dict[str, Any] = {"check": left.check, "kept": kept}
        if not wrong:
            return status("check-goes-on", **values)
        values["wrong"] = "; ".join(map(str, wrong))
        return status("check-goes-on-without", **values)

    # ---- while it goes on ------------------------------------------------------------

    def press(self, now: float, *, waits: bool) -> bool:
        if (run := self.run) is None:
            return False
        asked = not run.facts.acknowledged
        used = run.press(now, waits=waits)
        if asked:
            self._acknowledge(run)
        return used

    def tick(self, now: float) -> None:
        if (session := self.session) is None:
            return
        session.run.tick(now)
        beat = session.beat.tick(session.run.ask, now) if session.beat else None
        if beat is not None:
            self._shared.tell(notice("beat", beat))
            if beat.code == "beat-stand-still":
                self.press(now, waits=False)

    def abandon(self, now: float) -> StatusMessage:
        session, self.session = self.in_progress(), None
        session.give_up(now)
        return status("given-up", check=session.run.check.kind)

    def _acknowledge(self, run: CheckProcedure) -> None:
        """Note the cautions of a check that were acknowledged, so that they are not
        asked again today."""
        if run.facts.acknowledged:
            saw, today = gear_names(run.gear)[1], _day(time.time())
            self.cautions.acknowledge(run.check.cautions, saw, today)

    def remember(self, past: Sequence[CautionAcknowledgement]) -> None:
        """Take over from the log which cautions were acknowledged, in the order of
        recording."""
        for check, saw, at in past:
            with contextlib.suppress(UnknownCheck):
                self.cautions.acknowledge(find(check).cautions, saw, _day(at))


# ---- what a check is begun with; pure ------------------------------------------------


def _understood(
    request: Begin, before: Finding | None, known: Callable[[Begin], PriorKnowledge]
) -> tuple[Check, Begin]:
    """The check, and the request with the options that it declares. before: the result
    of the move that is verified; known: what the log tells to a check so begun. Raises
    UnknownCheck, OptionError."""
    check = find(request.check)
    if request.verifies is not None:
        request = _lightened(check, request, before, known)
    options = validated(check, request.options)
    steps = check.plan(options, EvidenceGear())
    return check, _applying(msgspec.structs.replace(request, options=options), steps)


def _lightened(
    check: Check,
    request: Begin,
    before: Finding | None,
    known: Callable[[Begin], PriorKnowledge],
) -> Begin:
    """The request of a check that verifies a move: without a new proof of the side, and
    with one set-up where the result before has proved the rest. An option that the user
    changed from its default stands."""
    request = msgspec.structs.replace(request, lean=False, tap=False)
    lighter = check.lighter(before) if before and check.lighter else None
    usual = {option.name: option.default for option in check.options}
    if lighter is None or any(
        request.options.get(name) not in (None, usual[name]) for name in lighter
    ):
        return request
    if "square" in check.takes and known(request).square is None:
        return request
    return msgspec.structs.replace(request, options={**request.options, **lighter})


def _applying(request: Begin, steps: Sequence[Step]) -> Begin:
    """The request without a test that applies to no step of the check."""
    return msgspec.structs.replace(
        request,
        lean=request.lean and any(step.leans for step in steps),
        tap=request.tap and any(step.gather == "sweep" for step in steps),
    )


def _refusal(
    check: Check, request: Begin, gear: EvidenceGear, wired: Collection[str]
) -> str | None:
    """Why this check is not begun; None when it can be. wired: roles of instruments."""
    if request.sweeps is not None and not 1 <= request.sweeps <= MOST_PUSHES_ASKED:
        most = f"1 to {MOST_PUSHES_ASKED} pushes a set-up"
        return f"--sweeps takes {most}, not {request.sweeps}"
    if sound_climate(request.climate) != request.climate:
        return (
            "no shop has such a climate: give a temperature from"
            f" {COLDEST:g} to {HOTTEST:g} C and a humidity up to 100 %"
        )
    return why_not(check, request.options, gear, wired)


def why_not(
    check: Check,
    options: Mapping[str, OptionValue],
    gear: EvidenceGear,
    wired: Collection[str],
) -> str | None:
    """Why a check cannot be taken with what is wired; None when it can."""
    widths = any(step.gather == "width" for step in check.plan(options, gear))
    wanted = "caliper" if widths else "indicator"
    if wanted in wired:
        return None
    return not_wired(wanted)


def not_wired(role: str) -> str:
    return f"no {role} is set up: name its port in the settings, under [{role}]"


def _same(a: Begin, b: Begin) -> bool:
    """The same check on the same thing: `ref` and the beat may differ."""
    plain = {"ref": None, "beat": None}
    return bool(
        msgspec.structs.replace(a, **plain) == msgspec.structs.replace(b, **plain)
    )


def _progress(left: OpenCheck) -> dict[str, Any]:
    """The arguments of `CheckProcedure.resume`, but for the time."""
    by_kind: dict[str, list[dict[str, object]]] = {}
    for event in left.events:
        by_kind.setdefault(event.kind, []).append(event.data)
    none_asked = [not data["asked"] for data in by_kind.get("cautions-known", ())]
    whole = [sweep.trace for sweep in left.sweeps if sweep.state == "whole"]
    return {
        "acknowledged": "acknowledged" in by_kind or any(none_asked),
        "traces": [trace for trace in whole if trace is not None],
        "leans": msgspec.convert(by_kind.get("lean", []), list[LeanTest]),
        "taps": msgspec.convert(by_kind.get("tap", []), list[TapTest]),
        "alive": [str(data["placement"]) for data in by_kind.get("alive", ())],
    }


def _day(wall_s: float) -> str:
    return time.strftime("%Y-%m-%d", time.localtime(wall_s))
