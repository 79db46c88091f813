"""Working out what was gathered, off the event loop; and what a finding leaves in the
log. Numpy comes with `working`, when first needed."""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

import msgspec

from bench.checks.model import Evidence, EvidenceError, EvidenceGear, Known, Trace
from bench.finding import Doubt, Finding
from bench.moves.verify import judge_move
from bench.procedure.check_procedure import CheckProcedure
from bench.protocol import Fitted
from bench.settings.settings_file import Settings

log = logging.getLogger("sweepgauge")


Seen = Callable[[Trace, Fitted | None, Mapping[Any, Doubt], bool], None]


class Evaluation:
    """One working-out at a time; the answer goes to `done` or, with the reason, to
    `failed`."""

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
        """When nothing is lacking any more, work it out; readings go on meanwhile."""
        if (
            run is not None
            and run.complete
            and not run.facts.worked_out
            and self._task is None
        ):
            self._task = asyncio.get_running_loop().create_task(self._conclude(run))

    async def _conclude(self, run: CheckProcedure) -> None:
        from bench.daemon.evaluation_worker import (
            work_out,  # brings numpy; loaded in the background after start
        )

        try:
            if self._looking:
                await asyncio.gather(*self._looking, return_exceptions=True)
            if not run.complete:
                return  # a pass was refused after all: it is asked again
            evidence = run.evidence()
            known = self._known(run.gear, run.check.kind, run.options)
            known = msgspec.structs.replace(known, looks=run.looks)
            evidence = msgspec.structs.replace(evidence, known=known)
            stamp = (
                datetime.fromtimestamp(time.time(), UTC)
                .astimezone()
                .isoformat(timespec="seconds")
            )
            finding = await asyncio.to_thread(
                work_out, evidence, uuid.uuid4().hex[:12], stamp, self._settings().units
            )
        except EvidenceError as error:
            self._failed(run, str(error))
        except Exception as error:
            # whatever the arithmetic stumbled over, the readings are in the log and the
            # daemon goes on
            log.exception("working out %s", run.id)
            self._failed(
                run, f"it could not be worked out ({type(error).__name__}: {error})"
            )
        else:
            self._done(run, finding, evidence)
        finally:
            self._task = None

    def look_at(
        self,
        trace: Trace,
        evidence: Callable[[], Evidence],
        seen: Seen,
        *,
        straight: bool,
    ) -> None:
        """Let the arithmetic look at a kept pass meanwhile, so that the screen can show
        what it set aside, and at what all that was kept so far shows against itself."""
        task = asyncio.get_running_loop().create_task(
            self._look_at(trace, evidence, seen, straight)
        )
        self._looking.add(task)
        task.add_done_callback(self._looking.discard)

    async def _look_at(
        self, trace: Trace, evidence: Callable[[], Evidence], seen: Seen, straight: bool
    ) -> None:
        from bench.daemon.evaluation_worker import doubts_of, look_at

        fitted = None
        try:
            if len(trace.reading) > 1:
                count = self._settings().gear.indicator.resolution
                fitted = await asyncio.to_thread(look_at, trace, count)
            doubts = await asyncio.to_thread(doubts_of, evidence())
        except Exception:
            # only a picture hangs on it; the finding is worked out on its own
            log.exception("looking at %s", trace.sweep)
            return
        seen(trace, fitted, doubts, straight)


def with_verdict_on_move(finding: Finding, before: Finding | None) -> Finding:
    """Where a check verifies a move, say first what went wrong with it, if anything
    did."""
    if before is None or (words := judge_move(before, finding)) is None:
        return finding
    note = f"The move: {words}" if words.endswith("?") else f"The move: {words}."
    return msgspec.structs.replace(finding, notes=[note, *finding.notes])
