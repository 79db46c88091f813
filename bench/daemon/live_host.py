"""The live move's place in the daemon: begun by a request, fed with readings, written
down when it is tight."""

from __future__ import annotations

from bench.daemon.shared_state import SharedState
from bench.finding import Finding
from bench.log.remembered import LiveMoveHistory
from bench.moves.nudge import LiveMoveError
from bench.procedure.live_move import LiveMove
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Live, LiveMoveNotice, Saved
from bench.render.finding import settle_words


class LiveHost:
    """At most one live move at a time. past: what earlier moves tell, by the log."""

    def __init__(self, shared: SharedState) -> None:
        self.move: LiveMove | None = None
        self.past = LiveMoveHistory()
        self._shared, self._tell = shared, shared.outbox.tell
        self._said: LiveMoveNotice | None = None

    def start(self, request: Live, finding: Finding) -> None:
        """Raises InvalidRequest where it cannot be."""
        if (why := self._why_not(finding)) is not None:
            raise InvalidRequest(why)
        gear = self._shared.settings.gear
        jig = gear.jigs[finding.jig or ""]
        way = finding.move.way if finding.move is not None else ""
        # only what was seen of a move the same way: it need not draw so much, or so,
        # from the other side
        drew = self.past.drew.get((jig.name, way))
        resolution = gear.indicator.resolution
        try:
            self.move = LiveMove(request, finding, jig, resolution, drew)
        except LiveMoveError as error:
            raise InvalidRequest(str(error)) from error
        begun = {"finding": finding.id, "jig": jig.name}
        self._shared.log.event(None, "live-begun", begun)
        self._said = None
        self.say()

    def _why_not(self, finding: Finding) -> str | None:
        settings = self._shared.settings
        if "indicator" not in settings.wired:
            no_indicator = "no indicator is set up: name its port in the settings"
            return f"{no_indicator}, under [indicator]"
        if finding.jig not in settings.gear.jigs:
            return "the move needs a sled that is in the settings"
        if finding.proposed is None:
            settled = settle_words(finding, settings.units)
            close = "that result is too close to call, so it proposes no move."
            return f"{close} {settled}"
        if finding.move is not None and finding.move.fence is not None:
            return (
                "a mitre fence is moved with leaves or a shim: live, the number shows a"
                " fence across the travel only"
            )
        if finding.id in self.past.made:
            return (
                "the move of that result was made already: take the verifying passes,"
                " they say what is left"
            )
        return None

    def end(self) -> None:
        if self.move is not None:
            left = StatusMessage("live-left")
            self._tell(LiveMoveNotice(on=False, phase="end", remarks=[left]))
        self.move = None

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
        made = {
            **{"distance_mm": live.gone, "how": "live"},
            **{"drew_mm": live.drew, "jig": live.jig.name},
        }
        self._shared.log.move_made(f"move-{found.id}", made)
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
