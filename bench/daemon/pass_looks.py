"""The arithmetic looks at each pass that was kept, while the sled is still at hand."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.daemon.evaluation import Evaluation
from bench.finding import Doubt
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.status_message import StatusMessage
from bench.protocol import FittedPass


class PassLooks:
    """run: the check in progress. after: what is done when nothing is lacking."""

    def __init__(
        self,
        run: Callable[[], CheckProcedure | None],
        concluding: Callable[[], Evaluation],
        tell: Callable[[msgspec.Struct], None],
        after: Callable[[], None],
    ) -> None:
        self._run = run
        self._concluding = concluding
        self._tell = tell
        self._after = after

    def look_at(self, trace: Trace, straight: bool) -> None:
        run = self._run()
        if run is not None:
            self._concluding().look_at(
                trace,
                run.evidence,
                self._looked,
                straight=straight,
                earlier=run.crooked.get(trace.placement),
            )

    def _looked(
        self,
        trace: Trace,
        fitted: FittedPass | None,
        doubts: Mapping[Any, Doubt],
        straight: bool,
    ) -> None:
        run = self._run()
        if run is not None and trace in run.kept.traces:
            run.doubts(doubts, time.monotonic())
        if fitted is None:
            return
        if run is not None and straight and fitted.words and trace in run.kept.traces:
            # better told now, while the sled is at hand, than when all is done
            reason = StatusMessage("pass-not-straight", {"why": fitted.words})
            run.crooked[trace.placement] = trace
            run.refuse_kept(trace, reason, time.monotonic())
            return
        if run is not None:
            run.kept.passes.append(fitted)
        self._tell(fitted)
        if run is not None and trace.push and run.may_stop_early:
            self._concluding().look_whether_settled(run, self._settled_early)

    def _settled_early(self, run: CheckProcedure, pushes: int) -> None:
        """Nothing was taken or taken back since the look."""
        now_kept = sum(trace.push for trace in run.kept.traces)
        if run is self._run() and run.may_stop_early and now_kept == pushes:
            run.stop_early(time.monotonic())
            self._after()
