"""The evaluation of a check, off the event loop, and the look at each kept pass."""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections.abc import Coroutine, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import msgspec

from bench.checks.model import Evidence, Trace
from bench.finding import Doubt, EvidenceError, Finding
from bench.moves.verify import judge_move
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.early_stop import settles_early
from bench.procedure.status_message import StatusMessage
from bench.protocol import FittedPass
from bench.render.remarks import evidence_error_words

if TYPE_CHECKING:
    from bench.daemon.check_controller import CheckController

log = logging.getLogger("sweepgauge")


class Evaluation:
    """Evaluates one check at a time, and looks at each of its passes meanwhile."""

    def __init__(self, check: CheckController) -> None:
        self._check = check
        self._task: asyncio.Task[None] | None = None
        self._looking: set[asyncio.Task[None]] = set()

    def stop(self) -> None:
        if self._task is not None:
            self._task.cancel()

    def after(self, run: CheckProcedure | None) -> None:
        """Evaluate the check once it is complete; readings go on meanwhile."""
        if run is not None and run.complete and self._task is None:
            self._task = asyncio.get_running_loop().create_task(self._conclude(run))

    async def _conclude(self, run: CheckProcedure) -> None:
        # brings numpy; loaded in the background after start
        from bench.procedure.conclusion import conclude

        try:
            if self._looking:
                await asyncio.gather(*self._looking, return_exceptions=True)
            if not run.complete:
                return  # a pass was refused after all: it is asked again
            evidence = self._evidence(run)
            now = datetime.fromtimestamp(time.time(), UTC).astimezone()
            number, at = uuid.uuid4().hex[:12], now.isoformat(timespec="seconds")
            finding = await asyncio.to_thread(conclude, evidence, id=number, at=at)
        except EvidenceError as error:
            words = evidence_error_words(error, self._check.settings.units)
            self._check.not_concluded(run, words)
        except Exception as error:
            # The readings are in the log and the daemon goes on, whatever failed.
            log.exception("working out %s", run.id)
            why = f"{type(error).__name__}: {error}"
            self._check.not_concluded(run, f"it could not be worked out ({why})")
        else:
            self._check.concluded(run, finding, evidence)
        finally:
            self._task = None

    def _evidence(self, run: CheckProcedure) -> Evidence:
        known = self._check.known(run.gear, run.check.kind, run.options)
        known = msgspec.structs.replace(known, looks=run.looks)
        return msgspec.structs.replace(run.evidence(), known=known)

    def _look(self, look: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(look)
        self._looking.add(task)
        task.add_done_callback(self._looking.discard)

    # ---- the look at each kept pass, while the sled is still at hand -----------------

    def look_at(self, trace: Trace, straight: bool) -> None:
        """Fit a line to a kept pass, for the screen to show which readings are set
        aside, and look for doubts in all passes so far."""
        run = self._check.run
        if run is not None:
            # a pass of this set-up that was refused as no line
            earlier = run.crooked.get(trace.placement)
            self._look(self._look_at(run, trace, straight, earlier))

    async def _look_at(
        self,
        run: CheckProcedure,
        trace: Trace,
        straight: bool,
        earlier: Trace | None,
    ) -> None:
        from bench.daemon.evaluation_worker import doubts_of, look_at

        fitted, settings = None, self._check.settings
        try:
            if len(trace.reading) > 1:
                count, units = settings.gear.indicator.resolution, settings.units
                fitted = await asyncio.to_thread(look_at, trace, count, units, earlier)
            doubts = await asyncio.to_thread(doubts_of, run.evidence())
        except Exception:
            # The finding does not depend on this look.
            log.exception("looking at %s", trace.sweep)
            return
        self._looked(trace, fitted, doubts, straight)

    def _looked(
        self,
        trace: Trace,
        fitted: FittedPass | None,
        doubts: Mapping[Any, Doubt],
        straight: bool,
    ) -> None:
        run, now = self._check.run, time.monotonic()
        if run is not None and trace in run.kept.traces:
            run.doubts(doubts, now)
        if fitted is None:
            return
        crooked = straight and fitted.words
        if run is not None and crooked and trace in run.kept.traces:
            # better told now, while the sled is at hand, than when all is done
            reason = StatusMessage("pass-not-straight", {"why": fitted.words})
            run.crooked[trace.placement] = trace
            run.refuse_kept(trace, reason, now)
            return
        if run is not None:
            run.kept.passes.append(fitted)
        self._check.tell(fitted)
        if run is not None and trace.push and run.may_stop_early:
            self._look(self._look_whether_settled(run))

    async def _look_whether_settled(self, run: CheckProcedure) -> None:
        """End the check where its passes settle the verdict, so that the last one is
        not needed."""
        from bench.procedure.conclusion import conclude

        evidence = self._evidence(run)
        try:
            finding = await asyncio.to_thread(conclude, evidence, id="", at="")
        except EvidenceError:
            return  # the passes that are still asked for may mend it
        except Exception:
            log.exception("looking whether %s is settled", run.id)  # all are asked for
            return
        # nothing was taken or taken back since
        pushes = sum(trace.push for trace in evidence.traces)
        same = pushes == sum(trace.push for trace in run.kept.traces)
        current = run is self._check.run and run.may_stop_early
        if settles_early(finding) and current and same:
            run.stop_early(time.monotonic())
            self._check.after()


def with_verdict_on_move(finding: Finding, before: Finding | None) -> Finding:
    """Where a check verifies a move, say first what went wrong with it, if anything
    did."""
    if before is None or (remark := judge_move(before, finding)) is None:
        return finding
    return msgspec.structs.replace(finding, remarks=[remark, *finding.remarks])
