"""The check in progress in the daemon: begun, joined, taken up again, gone on with,
given up, concluded.

Owns no socket and no instrument.
"""

from __future__ import annotations

import contextlib
import logging
import time
import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from bench.checks import UnknownCheck, find
from bench.checks.model import Caution, Check, Evidence, EvidenceGear, Known
from bench.checks.options import OptionError, OptionValue, understood, validated
from bench.daemon.acquisition import Instrument
from bench.daemon.check_journal import CheckJournal
from bench.daemon.check_start import applying, lightened, progress, same
from bench.daemon.evaluation import Evaluation, with_verdict_on_move
from bench.daemon.shop_air import ShopAir
from bench.finding import Finding, Remark, warning
from bench.log.remembered import Acknowledged
from bench.log.rows import OpenCheck
from bench.log.store import gear_names
from bench.procedure.acknowledged_cautions import AcknowledgedCautions
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.gear_selection import GearUnknown, use
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Begin, Concluded, Extend, NoFinding, Saved
from bench.render.prompts import prompt_words
from bench.render.remarks import with_notes
from bench.settings.settings_file import Settings
from bench.upkeep.history import COLDEST, HOTTEST, sound_climate

if TYPE_CHECKING:
    from bench.daemon.station import Station

log = logging.getLogger("sweepgauge")


class CheckController:
    """At most one check at a time.

    station: the instruments that it reads, the log, and whom it tells.
    """

    def __init__(self, station: Station) -> None:
        self.log = station.log
        self.run: CheckProcedure | None = None
        self.begun: Begin | None = None
        self.air: ShopAir | None = None  # set once by the service
        # a recent finding by its id
        self.find: Callable[[str], Finding | None] = lambda name: None
        # the latest, which may still be extended
        self._finished: CheckProcedure | None = None
        self._finished_begin: Begin | None = None
        self._finished_as: str | None = None
        self._supersedes: str | None = None
        self._jumps: list[Remark] = []  # of the clock, while the check went on
        self.cautions = AcknowledgedCautions()
        self._station = station
        self.tell = station.outbox.tell
        self.evaluation = Evaluation(self)
        self.journal = CheckJournal(self)

    @property
    def settings(self) -> Settings:
        return self._station.settings

    @property
    def instruments(self) -> list[Instrument]:
        return self._station.instruments

    def known(self, gear: EvidenceGear, kind: str, options: Mapping[str, Any]) -> Known:
        """What the log tells to such a check."""
        return self._station.known(gear, kind, options)

    # ---- begun, gone on with, taken up again -----------------------------------------

    def gear_for(self, begin: Begin) -> EvidenceGear:
        """What this check uses of the user's gear. Raises InvalidRequest naming what
        there is."""
        try:
            return use(
                self.settings.gear, jig=begin.jig, saw=begin.saw, square=begin.square
            )
        except GearUnknown as error:
            raise InvalidRequest(str(error)) from error

    def why_not(
        self, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
    ) -> str | None:
        """Why a check cannot be taken with what is wired; None when it can."""
        widths = any(s.gather == "width" for s in check.plan(options, gear))
        wanted = "caliper" if widths else "indicator"
        if any(i.role == wanted for i in self.instruments):
            return None
        return f"no {wanted} is set up: name its port in the settings, under [{wanted}]"

    def extend(self, request: Extend, now: float) -> None:
        """Go on with the latest check after all: more pushes in every set-up, then a
        later, stricter look."""
        run = self._finished
        if self.run is not None:
            raise InvalidRequest(f"{self.run.check.kind} is in progress")
        if run is None or request.finding not in (None, self._finished_as):
            raise InvalidRequest(
                "only the latest check can go on, and not after a restart"
            )
        if run.looks:
            # looking until it says what one hopes for makes a wrong answer likelier
            why = "it went on once already: begin the check anew"
            raise InvalidRequest(why)
        if not 1 <= request.sweeps <= 50:
            raise InvalidRequest(f"1 to 50 passes more, not {request.sweeps}")
        self.run, self.begun = run, self._finished_begin
        self._supersedes = self._finished_as
        self.log.reopen(run.id)
        run.extend(request.sweeps, now)

    def begin(self, request: Begin, now: float) -> bool:
        """Begin, or join the same check in progress; True when joined. Raises
        InvalidRequest."""
        check, request = self._understood(request)
        if self.run is not None:
            if self.begun is not None and same(self.begun, request):
                return True
            asked = prompt_words(self.run.ask, self.settings.units)
            raise InvalidRequest(
                f"{self.run.check.kind} is in progress ({asked}); finish it, or end it"
                " with `sweepgauge abandon`"
            )
        gear = self.gear_for(request)
        if (why := self._why_refused(check, request, gear)) is not None:
            raise InvalidRequest(why)
        if self.air is not None:
            self.air.want()
        cautions = self.cautions.due(
            check.cautions, gear_names(gear)[1], _day(time.time())
        )
        run = self._make_run(uuid.uuid4().hex[:12], request, gear, cautions)
        self._supersedes = None
        self._record(run, request)
        if len(cautions) < len(check.cautions):
            skipped = [c.name for c in check.cautions if c not in cautions]
            data = {"cautions": skipped, "asked": [c.name for c in cautions]}
            self.journal.event(run.id, "cautions-known", data)
        self._acknowledge(run)
        run.settle_down(now)
        log.info("check %s begins: %s", run.id, request.check)
        return False

    def _understood(self, request: Begin) -> tuple[Check, Begin]:
        """The request with the options that the check declares. Raises
        InvalidRequest."""
        try:
            check = find(request.check)
            request = lightened(check, request, self.find, self._known_to)
            options = validated(check, request.options)
        except (UnknownCheck, OptionError) as error:
            raise InvalidRequest(str(error)) from error
        request = msgspec.structs.replace(request, options=options)
        return check, applying(request, check.plan(options, EvidenceGear()))

    def _why_refused(
        self, check: Check, request: Begin, gear: EvidenceGear
    ) -> str | None:
        if request.sweeps is not None and not 1 <= request.sweeps <= 50:
            return f"--sweeps takes 1 to 50 pushes a set-up, not {request.sweeps}"
        if sound_climate(request.climate) != request.climate:
            return (
                "no shop has such a climate: give a temperature from"
                f" {COLDEST:g} to {HOTTEST:g} C and a humidity up to 100 %"
            )
        return self.why_not(check, request.options, gear)

    def _record(self, run: CheckProcedure, request: Begin) -> None:
        """What is begun, before anybody is told of it."""
        gear, indicator = run.gear, self.settings.indicator
        jig, saw = gear_names(gear)
        self.log.begin_check(
            run.id,
            request.check,
            jig=jig,
            saw=saw,
            options=request.options,
            gear=gear,
            instrument=indicator.port if indicator is not None else None,
            hold=str(request.options["hold"]) if request.options.get("hold") else None,
        )
        self.tell(Saved("check", run.id))
        self.journal.event(run.id, "asked-for", msgspec.to_builtins(request))

    def _known_to(self, request: Begin) -> Known:
        """What the log tells to a check that is begun so."""
        return self.known(self.gear_for(request), request.check, request.options)

    def _acknowledge(self, run: CheckProcedure) -> None:
        """Where its cautions are acknowledged, they need not be asked so soon again."""
        if run.facts.acknowledged:
            cautions = run.check.cautions
            self.cautions.acknowledge(
                cautions, gear_names(run.gear)[1], _day(time.time())
            )

    def remember(self, past: Sequence[Acknowledged]) -> None:
        """What the log says was acknowledged, in its order."""
        for check, saw, at in past:
            with contextlib.suppress(UnknownCheck):
                self.cautions.acknowledge(find(check).cautions, saw, _day(at))

    def _make_run(
        self,
        run_id: str,
        request: Begin,
        gear: EvidenceGear,
        cautions: Sequence[Caution] | None = None,
    ) -> CheckProcedure:
        travel = self.settings.gear.travel
        self.begun = request
        self._jumps = []
        run = self.run = CheckProcedure(
            run_id,
            find(request.check),
            request.options,
            gear,
            sweeps=request.sweeps,
            lean=request.lean,
            tap=request.tap,
            marks=travel.marks if travel.by_marks else (),
            journal=self.journal,
            tell=self.tell,
            at_rest=self._station.at_rest,
            verifies=request.verifies,
            cautions=cautions,
        )
        settings = self.settings
        wired = (("indicator", settings.indicator), ("caliper", settings.caliper))
        asking = {name: port.asking for name, port in wired if port is not None}
        run.facts.buttons = tuple(n for n, how in asking.items() if how == "button")
        return run

    def take_up(self, left: OpenCheck, now: float) -> StatusMessage:
        """Go on with a check that the last life left; says so."""
        begun = next((e.data for e in left.events if e.kind == "asked-for"), None)
        try:
            request = msgspec.convert(begun, Begin)
            options, wrong = understood(find(request.check), request.options)
            request = msgspec.structs.replace(request, options=options)
            run = self._make_run(left.run, request, self.gear_for(request))
        except (msgspec.ValidationError, InvalidRequest, UnknownCheck) as error:
            self.log.abandon(left.run, f"could not be taken up again: {error}")
            why = {"check": left.check, "why": str(error)}
            return StatusMessage("check-not-taken-up", why)
        for more in (e.data for e in left.events if e.kind == "extended"):
            run.extended(int(str(more["sweeps"])))
            self._supersedes = left.findings[-1] if left.findings else None
        run.resume(**progress(left), now=now)
        kept = sum(1 for t in run.kept.traces if t.push)
        values: dict[str, Any] = {"check": left.check, "kept": kept}
        if not wrong:
            return StatusMessage("check-goes-on", values)
        values["wrong"] = "; ".join(map(str, wrong))
        return StatusMessage("check-goes-on-without", values)

    # ---- while it goes on, and how it ends -------------------------------------------

    def press(self, now: float, *, waits: bool) -> bool:
        if self.run is None:
            return False
        run, asked = self.run, not self.run.facts.acknowledged
        used = run.press(now, waits=waits)
        if asked:
            self._acknowledge(run)
        self.after()
        return used

    def undo(self, now: float) -> StatusMessage:
        if self.run is None:
            raise InvalidRequest("no check is in progress")
        return self.run.undo(now)

    def abandon(self, now: float) -> StatusMessage:
        if self.run is None:
            raise InvalidRequest("no check is in progress")
        run, self.run, self.begun = self.run, None, None
        run.interrupt(StatusMessage("check-given-up"), now)
        self.log.abandon(run.id, "by hand")
        return StatusMessage("given-up", {"check": run.check.kind})

    def after(self) -> None:
        """When nothing is lacking any more, it is worked out."""
        self.evaluation.after(self.run)

    def clock_jumped(self, seconds: float) -> None:
        """Said in the finding of the check during which it happened."""
        if self.run is not None and self.run.facts.acknowledged:
            self._jumps.append(warning("clock-jumped", seconds=seconds))

    def stop(self, now: float) -> None:
        if self.run is not None:
            self.run.interrupt(StatusMessage("daemon-ended"), now)
        self.evaluation.stop()

    def concluded(
        self, run: CheckProcedure, finding: Finding, evidence: Evidence
    ) -> None:
        begun = self.begun
        if self.run is not run or begun is None:
            return
        verifies = begun.verifies
        before = self.find(verifies) if verifies else None
        finding = with_verdict_on_move(finding, before)
        finding = msgspec.structs.replace(
            finding,
            remarks=[*finding.remarks, *self._jumps],
            climate=begun.climate or (self.air.now() if self.air is not None else None),
        )
        finding = with_notes(finding, self.settings.units)
        self.log.finding(run.id, finding, evidence, supersedes=self._supersedes)
        if finding.move is not None:
            self.log.move_planned(f"move-{finding.id}", finding.id, finding.move)
        if verifies:
            self.log.move_verified(f"move-{verifies}", finding.id)
        self._finished, self._finished_begin = run, begun
        self._finished_as = finding.id
        self.run, self.begun, self._supersedes = None, None, None
        self.tell(Concluded(run.id, finding))

    def not_concluded(self, run: CheckProcedure, why: str) -> None:
        if self.run is run:
            self.run, self.begun = None, None
        self.log.abandon(run.id, why)
        remark = StatusMessage("not-concluded", {"why": why.rstrip(".")})
        self.tell(NoFinding(run.id, remarks=[remark]))


def _day(wall_s: float) -> str:
    return time.strftime("%Y-%m-%d", time.localtime(wall_s))
