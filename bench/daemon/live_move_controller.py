"""The live move in the daemon: begun by a request, fed with readings, recorded when the
fence is tight."""

from __future__ import annotations

from bench.daemon.check_controller import not_wired
from bench.daemon.shared_state import SharedState
from bench.finding import Finding
from bench.log.startup_history import LiveMoveHistory
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.live_move import LiveMove
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import LiveMoveNotice, LiveMoveRequest, SavedNotice
from bench.render.finding import settle_words


class LiveMoveController:
    """Runs at most one live move at a time. past: what the log tells of earlier
    moves."""

    def __init__(self, shared: SharedState) -> None:
        self.move: LiveMove | None = None
        self.past = LiveMoveHistory()
        self._shared, self._tell = shared, shared.outbox.tell
        self._notice: LiveMoveNotice | None = None

    def start(self, request: LiveMoveRequest, finding: Finding) -> None:
        """Raises InvalidRequest, NoLive where it cannot be."""
        if (why := self._why_not(finding)) is not None:
            raise InvalidRequest(why)
        gear = self._shared.settings.gear
        jig = gear.jigs[finding.jig or ""]
        way = finding.move.way if finding.move is not None else ""
        # Tightening may draw the fence otherwise after a move the other way.
        drew = self.past.drew.get((jig.name, way))
        resolution = gear.indicator.resolution
        self.move = LiveMove(request, finding, jig, resolution, drew)
        begun = {"finding": finding.id, "jig": jig.name}
        self._shared.log.event(None, "live-begun", begun)
        self._notice = None
        self.say()

    def _why_not(self, finding: Finding) -> str | None:
        settings = self._shared.settings
        if "indicator" not in settings.wired:
            return not_wired("indicator")
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
            left = status("live-left")
            self._tell(LiveMoveNotice(on=False, phase="end", remarks=[left]))
        self.move = None

    def lose(self) -> None:
        """Note that the indicator does not read now."""
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
        """Record the move before it is told; the next one aims past what this one
        drew."""
        found = live.finding
        if live.drew is not None and found.move is not None:
            self.past.drew[live.jig.name, found.move.way] = live.drew
        self.past.made.add(found.id)
        made = {
            **{"distance_mm": live.moved, "how": "live"},
            **{"drew_mm": live.drew, "jig": live.jig.name},
        }
        self._shared.log.move_made(f"move-{found.id}", made)
        self._tell(SavedNotice("move", found.id))

    def undo(self) -> StatusMessage:
        """Undo while the screw is tightened: once it is slackened again, the move aims
        past what was drawn."""
        if self.move is None or not self.move.slacken():
            raise InvalidRequest(
                "nothing can be taken back until the screw is tightened"
            )
        self.say()
        return status("live-slackened")

    def say(self) -> None:
        """Tell the live move where something changed, at most once a tick."""
        if self.move is not None:
            notice = self.move.notice()
            if notice != self._notice:
                self._notice = notice
                self._tell(notice)
