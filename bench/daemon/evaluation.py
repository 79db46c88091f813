"""The evaluation of a check, off the event loop, and the look at each kept pass."""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections.abc import Callable, Coroutine, Mapping
from datetime import UTC, datetime
from typing import Any

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Known, Trace
from bench.finding import Doubt, EvidenceError, Finding
from bench.moves.verify import judge_move
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.early_stop import settles_early
from bench.protocol import FittedPass
from bench.render.remarks import evidence_error_words
from bench.settings.settings_file import Settings

log = logging.getLogger("sweepgauge")


Seen = Callable[[Trace, FittedPass | None, Mapping[Any, Doubt], bool], None]


class Evaluation:
    """Evaluates one check at a time; calls `done` with the finding or `failed` with
    the reason."""

    def __init__(
        self,
        settings: Callable[[], Settings],
        known: Callable[[EvidenceGear, str, Mapping[str, Any]], Known],
        done: Callable[[CheckProcedure, Finding, Evidence], None],
        failed: Callable[[CheckProcedure, str], None],
    ) -> None:
        self._settings = settings
        self._known = known
        self._done = done
        self._failed = failed
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
            self._failed(run, evidence_error_words(error, self._settings().units))
        except Exception as error:
            # The readings are in the log and the daemon goes on, whatever failed.
            log.exception("working out %s", run.id)
            why = f"{type(error).__name__}: {error}"
            self._failed(run, f"it could not be worked out ({why})")
        else:
            self._done(run, finding, evidence)
        finally:
            self._task = None

    def _evidence(self, run: CheckProcedure) -> Evidence:
        known = self._known(run.gear, run.check.kind, run.options)
        known = msgspec.structs.replace(known, looks=run.looks)
        return msgspec.structs.replace(run.evidence(), known=known)

    def look_whether_settled(
        self, run: CheckProcedure, settled: Callable[[CheckProcedure, int], None]
    ) -> None:
        """Call `settled` with the number of passes looked at where they settle the
        verdict, so that the last one is not needed."""
        self._look(self._look_whether_settled(run, settled))

    def _look(self, look: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(look)
        self._looking.add(task)
        task.add_done_callback(self._looking.discard)

    async def _look_whether_settled(
        self, run: CheckProcedure, settled: Callable[[CheckProcedure, int], None]
    ) -> None:
        from bench.procedure.conclusion import conclude

        evidence = self._evidence(run)
        try:
            finding = await asyncio.to_thread(conclude, evidence, id="", at="")
        except EvidenceError:
            return  # the passes that are still asked for may mend it
        except Exception:
            log.exception("looking whether %s is settled", run.id)  # all are asked for
            return
        if settles_early(finding):
            settled(run, sum(trace.push for trace in evidence.traces))

    def look_at(
        self,
        trace: Trace,
        evidence: Callable[[], Evidence],
        seen: Seen,
        *,
        straight: bool,
        earlier: Trace | None = None,
    ) -> None:
        """Fit a line to a kept pass, for the screen to show which readings are set
        aside, and look for doubts in all passes so far. earlier: a pass of this set-up
        that was refused as no line."""
        self._look(self._look_at(trace, evidence, seen, straight, earlier))

    async def _look_at(
        self,
        trace: Trace,
        evidence: Callable[[], Evidence],
        seen: Seen,
        straight: bool,
        earlier: Trace | None,
    ) -> None:
        from bench.daemon.evaluation_worker import doubts_of, look_at

        fitted = None
        try:
            if len(trace.reading) > 1:
                count = self._settings().gear.indicator.resolution
                units = self._settings().units
                fitted = await asyncio.to_thread(look_at, trace, count, units, earlier)
            doubts = await asyncio.to_thread(doubts_of, evidence())
        except Exception:
            # The finding does not depend on this look.
            log.exception("looking at %s", trace.sweep)
            return
        seen(trace, fitted, doubts, straight)


def with_verdict_on_move(finding: Finding, before: Finding | None) -> Finding:
    """Where a check verifies a move, say first what went wrong with it, if anything
    did."""
    if before is None or (remark := judge_move(before, finding)) is None:
        return finding
    return msgspec.structs.replace(finding, remarks=[remark, *finding.remarks])
