"""What the user asks of the daemon, turned into requests; and what can be asked now."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from bench.console import first_start
from bench.console.action import Stands, Touches
from bench.console.navigation import Navigation
from bench.console.view_model import ViewModel
from bench.protocol import (
    Abandon,
    Begin,
    Extend,
    Finding,
    Learn,
    Live,
    LogList,
    Moved,
    Press,
    Undo,
)

PAST = 50  # earlier results that are asked for
MOVED = ("made", "verified")  # what became of a move that was made
CAUTION_ROWS = 4  # rows that the cautions are scrolled by

Send = Callable[[msgspec.Struct], bool]


class RequestController:
    """`send` carries a request to the daemon and tells whether it went."""

    def __init__(self, state: ViewModel, navigation: Navigation, send: Send) -> None:
        self.state, self.navigation = state, navigation
        self._send = send
        self.scrolls = False  # the cautions go on below the edge
        self.last_begin: Begin | None = None

    @property
    def moved(self) -> bool:
        """The move of the result on screen was noted."""
        finding = self.state.finding
        if finding is None:
            return False
        became = self.state.moves.get(finding.id)
        return self.navigation.verifies == finding.id or became in MOVED

    @property
    def enter_answers(self) -> bool:
        """Enter is asked for; one that nobody asked for would answer the next question
        unread."""
        state = self.state
        if state.live is not None:
            return state.live.enter
        if state.learn is not None:
            return state.learn.phase == "seen" or state.learn.enter
        return state.ask is None or (state.ask.enter and not state.ask.waiting)

    @property
    def can_undo_pass(self) -> bool:
        """There is a pass, or a mark of one, that can be taken back."""
        ask = self.state.ask
        some = ask is not None and (ask.taken > 0 or (ask.mark or 1) > 1)
        return some or any(p.push for p in self.state.passes)

    @property
    def can_settle(self) -> bool:
        """Too close to call, and pushes more may settle it."""
        finding = self.state.finding
        return (
            self.state.ask is None
            and finding is not None
            and finding.more_pushes is not None
        )

    @property
    def enter_act(self) -> str:
        """What Enter does with the result on screen."""
        finding = self.state.finding
        if finding is None or self.moved:
            return "again"
        if finding.verdict == "cannot-tell":
            longer = finding.settle is None or finding.settle.length is not None
            return "more" if self.can_settle else "again" if longer else "limits"
        return "again" if finding.proposed is None else "the move"

    def send(self, message: msgspec.Struct) -> bool:
        if self._send(message):
            return True
        self.state.say("daemon", "No daemon hears this; it was not done.", bad=True)
        return False

    def press(self) -> None:
        state, navigation = self.state, self.navigation
        if state.ask is not None or state.live is not None or state.learn is not None:
            if self.scrolls:
                navigation.scroll += CAUTION_ROWS
            else:
                self.send(Press(waits=False))
            return
        finding = state.finding
        if first_start.next_stage(state, navigation) is not None:
            first_start.begin(self)
        elif finding is None and first_start.bare(state):
            navigation.go("cables")
        elif finding is None:
            navigation.go(
                "checks" if state.gear is None or state.gear.jigs else "sleds"
            )
        elif self.enter_act in ("the move", "limits"):
            navigation.go("move" if self.enter_act == "the move" else "limits")
        elif self.enter_act == "more":
            self.more()
        else:
            self.again()

    def begin(self, begin: Begin) -> None:
        self.last_begin = begin
        if self.send(begin):
            self.navigation.home()
            self.state.result = None

    def again(self) -> None:
        """The check of the result on screen, as it was begun last, else as the daemon
        would."""
        finding = self.state.finding
        if self.state.learn is not None:
            first_start.again(self)
            return
        if finding is None:
            return
        before = self.last_begin
        if before is None or before.check != finding.check or before.jig != finding.jig:
            saw = finding.saw if finding.jig is None else None
            navigation = self.navigation
            before = Begin(
                finding.check,
                jig=finding.jig,
                saw=saw,
                sweeps=navigation.pushes,
                lean=navigation.lean,
                tap=navigation.tap,
            )
        self.begin(
            msgspec.structs.replace(before, verifies=finding.id if self.moved else None)
        )

    def more(self) -> None:
        if self.scrolls:
            self.navigation.scroll += CAUTION_ROWS
        elif (
            (finding := self.state.finding) is not None
            and (lacking := finding.more_pushes) is not None
            and self.send(Extend(lacking, finding.id))
        ):
            self.state.result = None

    def undo(self) -> None:
        if self.state.ask is None and self.state.live is None:
            first_start.skip(self)
        else:
            self.send(Undo())

    def give_up(self) -> None:
        if self.state.learn is not None:
            first_start.leave(self)
        else:
            self.send(Abandon())

    def live(self) -> None:
        if self.state.live is not None:
            self.send(Live(on=False))
        else:
            self.navigation.go("live")

    def begin_live(
        self, touches: Touches, stands: Stands, from_pivot: float | None = None
    ) -> None:
        """The indicator is on the sled: from_pivot in mm, None at the stop."""
        finding, navigation = self.state.finding, self.navigation
        live = Live(True, finding.id if finding else None, touches, stands, from_pivot)
        if self.send(live):
            navigation.home()

    def note_move(self, finding: Finding, distance: float, how: str) -> None:
        if self.send(Moved(finding.id, distance=distance, how=how)):
            self.navigation.verifies = finding.id
            self.navigation.home()

    def learn(self, learn: Learn) -> None:
        if self.send(learn):
            self.navigation.home()

    def past(self) -> None:
        self.navigation.go("past")
        self.navigation.shown = None
        self._send(LogList(jig=self.state.the_jig, most=PAST))

    def turn_picture(self) -> None:
        self.navigation.picture = not self.navigation.picture
