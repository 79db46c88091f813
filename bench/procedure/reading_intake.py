"""Readings of the indicator or caliper: whether they live, hold still, went and came
back, and which number of the check they are.

Holds no port and no socket. Times in monotonic s, values in mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.procedure.number_taking import SINGLE_NUMBERS, STANDING_STILL, restless
from bench.procedure.prompt import Prompt
from bench.stream.rest_detector import NotAtRest, RestReading
from bench.stream.sweep_detector import Sweep

if TYPE_CHECKING:
    from bench.procedure.check_procedure import CheckProcedure


class ReadingIntake:
    """Hands each number that held still to what waits for it."""

    def __init__(self, run: CheckProcedure) -> None:
        self._run = run

    def readings(
        self, times: list[float], values: list[float], placed_at: float, now: float
    ) -> None:
        """New readings, growing as the plunger is pushed in. placed_at: when the set-up
        was said to stand; what the filter passed on late was shown before that."""
        run = self._run
        fresh = [v for t, v in zip(times, values, strict=True) if t > placed_at]
        detector = run.numbers.detector
        if run.troubles.readings(fresh, run.ask, detector.count, now):
            run.settle_down(now)
        self._watch_return(values, now)
        answer = detector.readings(times, values)
        if isinstance(answer, RestReading):
            self._took(answer, now)
        elif isinstance(answer, NotAtRest):
            run.report.notify("indicator", restless("reading", answer), "warning")

    def button(self, now: float) -> None:
        """A reading sent at the instrument's own button both asks and answers; where a
        set-up is asked for, it says that it stands, too."""
        run = self._run
        current = run.ask
        stands = current.phase == "place" and current.gather in SINGLE_NUMBERS
        if current.phase in STANDING_STILL or (stands and current.button):
            taken = run.numbers.detector.button(now)
            if taken is not None:
                if stands:
                    run.place(current, now)
                self._took(taken, now)

    def _watch_return(self, values: list[float], now: float) -> None:
        """A spot or width is at hand when the number came back; it is none any more
        when it leaves again before it was taken."""
        run = self._run
        step = run.passes.step
        if step is None or step.gather == "sweep" or step.away is None:
            return
        came = run.numbers.came(values, step.away)
        if came == "gone":
            run.settle_down(now)
        elif came == "back" and run.ask.by_itself:
            if not run.facts.placed:
                run.place(run.ask, now)
            run.numbers.take_by_itself(now, came_back=True)
            run.settle_down(now)

    def _took(self, taken: RestReading, now: float) -> None:
        run = self._run
        current = run.ask
        run.numbers.end(now)
        count = run.numbers.detector.count
        if current.phase == "lean":
            run.tests.lean(current, taken, run.steps[run.facts.step], count)
        elif current.phase == "tap":
            run.tests.tap(current, taken, count)
        elif current.phase == "mark":
            run.taking.take_mark(current, taken)
        elif current.phase in SINGLE_NUMBERS:
            self._spotted(current, taken)
        run.settle_down(now)

    def _spotted(self, current: Prompt, taken: RestReading) -> None:
        run = self._run
        at = current.at if current.at is not None else 0.0
        run.numbers.taken(taken.value)
        run.passes.accept(Sweep(True, [at], [taken.value], [taken.at]))
        run.liveness.restart()
