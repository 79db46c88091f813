"""The live move's place in the daemon: begun by a request, fed with readings, written down when it is tight.

May import: bench.log, bench.settings, bench.wire and its daemon neighbours.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from bench.daemon.live import LiveMove, NoLive
from bench.daemon.wrong_use import WrongUse
from bench.finding import Finding
from bench.log.writer import LogWriter
from bench.settings import Settings
from bench.wire import Live, LiveSaid


class LiveHost:
    """At most one live move at a time. `noted(ticket, finding)`: what the log is to confirm as a move made."""

    def __init__(
        self,
        log: LogWriter,
        tell: Callable[[msgspec.Struct], None],
        settings: Callable[[], Settings],
        noted: Callable[[int, str], None],
    ) -> None:
        self.move: LiveMove | None = None
        self.drawn: dict[str, float] = {}  # by jig: mm that tightening drew the tip last time
        self._log = log
        self._tell = tell
        self._settings = settings
        self._noted = noted
        self._said: LiveSaid | None = None

    def start(self, request: Live, finding: Finding) -> None:
        """Raises WrongUse where it cannot be."""
        settings = self._settings()
        jig = settings.gear.jigs.get(finding.jig or "")
        if jig is None:
            raise WrongUse("the move needs a sled that is in the settings")
        count = settings.gear.indicator.resolution or 0.001
        try:
            self.move = LiveMove(request, finding, jig, count, settings.units, self.drawn.get(jig.name, 0.0))
        except NoLive as error:
            raise WrongUse(str(error)) from error
        self._log.event(None, "live-begun", {"finding": finding.id, "jig": jig.name})
        self._said = None
        self.say()

    def end(self) -> None:
        if self.move is not None:
            self._tell(LiveSaid(on=False, phase="end", words="The live move is left."))
        self.move = None

    def readings(self, values: Sequence[float]) -> None:
        if self.move is not None:
            self.move.readings(values)

    def press(self) -> None:
        live = self.move
        assert live is not None
        live.press()
        self.say()
        if live.phase != "end":
            return
        found = live.finding
        if live.drawn_at_end is not None:
            self.drawn[live.jig.name] = live.drawn_at_end
        ticket = self._log.move_made(
            f"move-{found.id}",
            {"distance_mm": live.gone, "how": "live", "drew_mm": live.drawn_at_end, "jig": live.jig.name},
        )
        self._noted(ticket, found.id)
        self.move = None

    def say(self) -> None:
        """At most once a tick, when something changed."""
        if self.move is not None:
            said = self.move.said()
            if said != self._said:
                self._said = said
                self._tell(said)
