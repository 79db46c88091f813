"""One check from its begin to its end: its procedure, what is written down of it, and
what is worked out of it, off the event loop.

Owns no socket and no instrument.
"""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections.abc import Callable, Coroutine, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import msgspec

from bench.checks.model import Caution, Evidence, EvidenceGear, PriorKnowledge, Trace
from bench.checks.options import given_text
from bench.daemon.shared_state import SharedState
from bench.daemon.tones import MarkBeat
from bench.finding import Doubt, EvidenceError, Finding, Remark, warning
from bench.log import history
from bench.log.store import gear_names
from bench.moves.verification import judge_move
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.early_stop import settles_early
from bench.procedure.status_message import status
from bench.protocol import (
    Begin,
    FindingNotice,
    FittedPass,
    NoFinding,
    PromptChanged,
    SavedNotice,
)
from bench.render.remarks import evidence_error_words, with_notes

log = logging.getLogger("sweepgauge")


def known_of(
    shared: SharedState, gear: EvidenceGear, kind: str, options: Mapping[str, Any]
) -> PriorKnowledge:
    """The knowledge that the log has for such a check."""
    path, port = shared.paths.log, shared.indicator_port
    try:
        return history.known(path, kind, gear, options, instrument=port)
    except Exception:
        # an unreadable history must not cost today's answer
        log.exception("reading what is known from the log")
        return PriorKnowledge()


class CheckSession:
    """A `Journal` to its procedure, `run`. beat: by which its marks are taken, if
    asked for. supersedes: the result that the next one
    takes the place of. over: it was given up, or ended as `end` was told: with a result
    (`finding` is its id) or without."""

    def __init__(
        self,
        run_id: str,
        begun: Begin,
        gear: EvidenceGear,
        shared: SharedState,
        at_rest: Callable[[], bool],
        end: Callable[[CheckSession], None],
        *,
        cautions: Sequence[Caution] | None = None,
    ) -> None:
        self.begun = begun
        self.beat: MarkBeat | None = None
        self.supersedes: str | None = None
        self.finding: str | None = None
        self.over = False
        self._shared, self._end = shared, end
        self.end_sweep, self.undo_sweep = shared.log.end_sweep, shared.log.undo_sweep
        self._jumps: list[Remark] = []  # of the clock, while the check went on
        self._concluding: asyncio.Task[None] | None = None
        self._evaluations: set[asyncio.Task[None]] = set()
        settings, travel = shared.settings, shared.settings.gear.travel
        self.run = CheckProcedure(
            run_id,
            begun,
            gear,
            marks=travel.marks if travel.by_marks else (),
            journal=self,
            tell=self._tell,
            at_rest=at_rest,
            buttons=[
                role
                for role, port in settings.wired.items()
                if role != "travel" and port.asking == "button"
            ],
            cautions=cautions,
        )

    def _tell(self, message: msgspec.Struct) -> None:
        """Tell clients, and evaluate the check when nothing is lacking any more."""
        self._shared.outbox.tell(message)
        if isinstance(message, PromptChanged):
            self.conclude_if_complete()

    # ---- what is written down --------------------------------------------------------

    def record_begin(self) -> None:
        """Record the begin of the check; it must come before anybody is told of it."""
        run, begun = self.run, self.begun
        jig, saw = gear_names(run.gear)
        self._shared.log.begin_check(
            run.id,
            begun.check,
            jig=jig,
            saw=saw,
            options=begun.options,
            gear=run.gear,
            instrument=self._shared.indicator_port,
            hold=given_text(begun.options, "hold"),
        )
        self._shared.outbox.tell(SavedNotice("check", run.id))
        self.event(run.id, "asked-for", msgspec.to_builtins(begun))

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None:
        self._shared.log.event(run_id, kind, data)
        if kind == "acknowledged":
            self._shared.outbox.tell(SavedNotice("event", run_id))

    def start_sweep(
        self, run_id: str, sweep_id: str, placement: str, hold: str | None
    ) -> None:
        wires: dict[str, object] = {
            role: {"format": port.format, "profile": port.profile, **port.options}
            for role, port in self._shared.settings.wired.items()
        }
        self._shared.log.start_sweep(
            sweep_id, run_id, placement, hold=hold, wires=wires
        )

    def clock_jumped(self, seconds: float) -> None:
        """Note a jump of the clock, to be said in the finding of this check."""
        if self.run.facts.acknowledged:
            self._jumps.append(warning("clock-jumped", seconds=seconds))

    # ---- how it ends -----------------------------------------------------------------

    def give_up(self, now: float) -> None:
        self.over = True
        self.run.interrupt(status("check-given-up"), now)
        self._shared.log.abandon(self.run.id, "by hand")

    def stop(self, now: float) -> None:
        """Interrupt the check since the daemon ends; the next daemon takes it up."""
        self.run.interrupt(status("daemon-ended"), now)
        if self._concluding is not None:
            self._concluding.cancel()

    def conclude_if_complete(self) -> None:
        """Evaluate the check once it is complete; readings go on meanwhile."""
        if self.run.complete and self._concluding is None and not self.over:
            loop = asyncio.get_running_loop()
            self._concluding = loop.create_task(self._conclude())

    async def _conclude(self) -> None:
        # brings numpy; loaded in the background after start
        from bench.procedure.conclusion import conclude

        try:
            await asyncio.gather(*self._evaluations, return_exceptions=True)
            if not self.run.complete:
                return  # a pass was refused after all: it is asked again
            evidence = self._evidence()
            now = datetime.fromtimestamp(time.time(), UTC).astimezone()
            number, at = uuid.uuid4().hex[:12], now.isoformat(timespec="seconds")
            finding = await asyncio.to_thread(conclude, evidence, id=number, at=at)
        except EvidenceError as error:
            units = self._shared.settings.units
            self._not_concluded(evidence_error_words(error, units))
        except Exception as error:
            # The readings are in the log and the daemon goes on, whatever failed.
            log.exception("working out %s", self.run.id)
            why = f"{type(error).__name__}: {error}"
            self._not_concluded(f"it could not be worked out ({why})")
        else:
            self._concluded(finding, evidence)
        finally:
            self._concluding = None

    def _evidence(self) -> Evidence:
        run = self.run
        known = known_of(self._shared, run.gear, run.check.kind, run.options)
        known = msgspec.structs.replace(known, looks=run.extensions)
        return msgspec.structs.replace(run.evidence(), known=known)

    def _concluded(self, finding: Finding, evidence: Evidence) -> None:
        if self.over:
            return
        shared, verifies = self._shared, self.begun.verifies
        before = shared.recent(verifies)
        # what went wrong with the move that is verified is said first
        move = judge_move(before, finding) if before is not None else None
        remarks = [move] if move is not None else []
        finding = msgspec.structs.replace(
            finding,
            remarks=[*remarks, *finding.remarks, *self._jumps],
            climate=self.begun.climate or shared.climate.now(),
        )
        finding = with_notes(finding, shared.settings.units)
        shared.log.finding(self.run.id, finding, evidence, supersedes=self.supersedes)
        if finding.move is not None:
            shared.log.move_planned(f"move-{finding.id}", finding.id, finding.move)
        if verifies:
            shared.log.move_verified(f"move-{verifies}", finding.id)
        self.finding, self.over = finding.id, True
        self._end(self)
        shared.outbox.tell(FindingNotice(self.run.id, finding))

    def _not_concluded(self, why: str) -> None:
        if self.over:
            return
        self.over = True
        self._end(self)
        self._shared.log.abandon(self.run.id, why)
        remark = status("not-concluded", why=why.rstrip("."))
        self._shared.outbox.tell(NoFinding(self.run.id, remarks=[remark]))

    # ---- each accepted pass is evaluated while the sled is still at hand -------------

    def pass_accepted(self, trace: Trace, *, straight: bool) -> None:
        """Fit a line to an accepted pass, for the screen to show which readings are set
        aside, and look for doubts in all passes so far."""
        self._evaluate(self._evaluate_pass(trace, straight))

    def _evaluate(self, evaluation: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(evaluation)
        self._evaluations.add(task)
        task.add_done_callback(self._evaluations.discard)

    async def _evaluate_pass(self, trace: Trace, straight: bool) -> None:
        from bench.daemon.evaluation_worker import doubts_of, fit_pass

        fitted, settings, run = None, self._shared.settings, self.run
        # a pass of this set-up that was refused as no line
        earlier = run.not_straight.get(trace.placement)
        try:
            if len(trace.reading) > 1:
                count, units = settings.gear.indicator.resolution, settings.units
                fitted = await asyncio.to_thread(fit_pass, trace, count, units, earlier)
            doubts = await asyncio.to_thread(doubts_of, run.evidence())
        except Exception:
            # The finding does not depend on this evaluation.
            log.exception("evaluating the pass %s", trace.sweep)
            return
        self._evaluated(trace, fitted, doubts, straight)

    def _evaluated(
        self,
        trace: Trace,
        fitted: FittedPass | None,
        doubts: Mapping[Any, Doubt],
        straight: bool,
    ) -> None:
        run, now = self.run, time.monotonic()
        if trace in run.passes.traces and not self.over:
            run.doubts(doubts, now)
        if fitted is None:
            return
        if straight and fitted.words and trace in run.passes.traces and not self.over:
            # better told now, while the sled is at hand, than when all is done
            reason = status("pass-not-straight", why=fitted.words)
            run.not_straight[trace.placement] = trace
            run.refuse_kept(trace, reason, now)
            return
        run.passes.fitted.append(fitted)
        self._shared.outbox.tell(fitted)
        if trace.push and run.may_stop_early:
            self._evaluate(self._evaluate_early())

    async def _evaluate_early(self) -> None:
        """End the check where its passes settle the verdict, so that the last one is
        not needed."""
        from bench.procedure.conclusion import conclude

        run, evidence = self.run, self._evidence()
        try:
            finding = await asyncio.to_thread(conclude, evidence, id="", at="")
        except EvidenceError:
            return  # the passes that are still asked for may mend it
        except Exception:
            log.exception("evaluating %s early", run.id)  # all are asked for
            return
        # nothing was taken or taken back since
        pushes = sum(trace.push for trace in evidence.traces)
        same = pushes == sum(trace.push for trace in run.passes.traces)
        if settles_early(finding) and run.may_stop_early and same and not self.over:
            run.stop_early(time.monotonic())
