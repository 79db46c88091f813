"""The live move's place in the daemon: begun by a request, fed with readings, written
down when it is tight."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from bench.finding import Finding
from bench.log.remembered import LiveMoveHistory
from bench.log.writer import LogWriter
from bench.moves.nudge import NoLive
from bench.procedure.live_move import LiveMove
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Live, LiveMoveNotice, Saved
from bench.render.finding import settle_words
from bench.settings.settings_file import Settings


class LiveHost:
    """At most one live move at a time. `tell`: once what it speaks of is on the disk
    (see outbox)."""

    def __init__(
        self,
        log: LogWriter,
        tell: Callable[[msgspec.Struct], None],
        settings: Callable[[], Settings],
    ) -> None:
        self.move: LiveMove | None = None
        self.past = (
            LiveMoveHistory()
        )  # what earlier moves tell; set from the log at the start
        self._log = log
        self._tell = tell
        self._settings = settings
        self._said: LiveMoveNotice | None = None

    def start(self, request: Live, finding: Finding) -> None:
        """Raises InvalidRequest where it cannot be."""
        settings = self._settings()
        jig = settings.gear.jigs.get(finding.jig or "")
        if jig is None:
            raise InvalidRequest("the move needs a sled that is in the settings")
        if finding.proposed is None:
            settled = settle_words(finding, settings.units)
            raise InvalidRequest(
                f"that result is too close to call, so it proposes no move. {settled}"
            )
        if finding.move is not None and finding.move.fence is not None:
            raise InvalidRequest(
                "a mitre fence is moved with leaves or a shim: live, the number shows a"
                " fence across the travel only"
            )
        if finding.id in self.past.made:
            raise InvalidRequest(
                "the move of that result was made already: take the verifying passes,"
                " they say what is left"
            )
        way = finding.move.way if finding.move is not None else ""
        # only what was seen of a move the same way: it need not draw so much, or so,
        # from the other side
        drew = self.past.drew.get((jig.name, way))
        try:
            self.move = LiveMove(
                request,
                finding,
                jig,
                settings.gear.indicator.resolution,
                drew,
            )
        except NoLive as error:
            raise InvalidRequest(str(error)) from error
        self._log.event(None, "live-begun", {"finding": finding.id, "jig": jig.name})
        self._said = None
        self.say()

    def end(self) -> None:
        if self.move is not None:
            left = StatusMessage("live-left")
            self._tell(LiveMoveNotice(on=False, phase="end", remarks=[left]))
        self.move = None

    def readings(self, times: Sequence[float], values: Sequence[float]) -> None:
        if self.move is not None:
            self.move.readings(times, values)

    def lose(self) -> None:
        """The indicator does not read now."""
        if self.move is not None:
            self.move.lose()

    def press(self) -> None:
        live = self.move
        assert live is not None
        live.press()
        if live.phase == "end":
            self._made(live)
        self.say()
        if live.phase == "end":
            self.move = None

    def _made(self, live: LiveMove) -> None:
        """Written down before it is told: what it drew is aimed past the next time."""
        found = live.finding
        if live.drew is not None and found.move is not None:
            self.past.drew[live.jig.name, found.move.way] = live.drew
        self.past.made.add(found.id)
        self._log.move_made(
            f"move-{found.id}",
            {
                "distance_mm": live.gone,
                "how": "live",
                "drew_mm": live.drew,
                "jig": live.jig.name,
            },
        )
        self._tell(Saved("move", found.id))

    def back(self) -> StatusMessage:
        """Undo while it is tightened: slackened again, it aims past what was drawn."""
        if self.move is None or not self.move.back():
            raise InvalidRequest(
                "nothing can be taken back until the screw is tightened"
            )
        self.say()
        return StatusMessage("live-slackened")

    def say(self) -> None:
        """At most once a tick, when something changed."""
        if self.move is not None:
            said = self.move.said()
            if said != self._said:
                self._said = said
                self._tell(said)
