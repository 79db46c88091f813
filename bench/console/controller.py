"""What the user does, turned into requests and into moves between pages; no Textual, no
socket.

`send` carries a request to the daemon and tells whether it went.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from bench.console import first_start, list_pages
from bench.console.action import Action, Stands, Touches
from bench.console.actions import ACTIONS, FURTHER, find
from bench.console.navigation import ListRow, Navigation
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
    NotesSeen,
    Press,
    Undo,
)

PAST = 50
YES = ("enter", "y")  # the answers to whether it is meant
# s after the question, or after a key that came too soon, in which nothing is an answer
TOO_SOON = 0.4

Send = Callable[[msgspec.Struct], bool]


class ScreenController:
    """`extra` are actions of whoever builds the screen (the pretend saw's hands), `tip`
    a line of theirs beside what is asked; the screen knows nothing of either."""

    state: ViewModel
    navigation: Navigation
    scrolls: bool  # the cautions go on below the edge

    def __init__(
        self,
        state: ViewModel,
        navigation: Navigation,
        send: Send,
        *,
        leave: Callable[[], None] = lambda: None,
        look: Callable[[], None] = lambda: None,
        extra: tuple[Action, ...] = (),
        tip: Callable[[ScreenController], str] = lambda controller: "",
    ) -> None:
        self.state, self.navigation = state, navigation
        self.tip = tip
        self._send, self._leave, self._look = send, leave, look
        self.extra = extra
        self.scrolls = False
        self.last_begin: Begin | None = None
        self._key = ""  # the key that is being answered; none by touch

    # ---- asked by the panes ----------------------------------------------------------

    @property
    def actions(self) -> tuple[Action, ...]:
        return (*self.extra, *ACTIONS)

    def available_actions(self) -> list[Action]:
        """What would do something at this moment, in the order of the key row."""
        row = self._row()
        # yes stands first, but never where the finger is that asked
        if self.navigation.sure is not None:
            row = [a for a in row if a.name != "press"]
            row.insert(
                1 if row and row[0].name == self.navigation.sure else 0, ACTIONS[0]
            )
        return row

    def _row(self) -> list[Action]:
        if self.navigation.page != "work":
            order = ("home", "keys", "look", "leave")
            known = [
                a for name in order for a in ACTIONS if a.name == name and a.can(self)
            ]
            return [known[0], FURTHER, *known[1:]] if FURTHER.can(self) else known
        late = tuple(a for a in self.extra if a.late)
        first = tuple(a for a in self.extra if not a.late)
        job = next(n for n, a in enumerate(ACTIONS) if a.name == "past")
        can = [
            a
            for a in (ACTIONS[0], *first, *ACTIONS[1:job], *late, *ACTIONS[job:])
            if a.can(self)
        ]
        said = {a.word(self) for a in can if a.name == "press"}
        # Enter does it already
        return [a for a in can if a.name == "press" or a.word(self) not in said]

    @property
    def moved(self) -> bool:
        """The move of the result on screen was noted."""
        finding = self.state.finding
        if finding is None:
            return False
        return self.navigation.verifies == finding.id or self.state.moves.get(
            finding.id
        ) in (
            "made",
            "verified",
        )

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

    def rows(self) -> list[ListRow]:
        return list_pages.rows(self)

    @property
    def list_overflows(self) -> bool:
        """The list is longer than the screen."""
        first, last = self.navigation.rows_seen
        return self.navigation.page != "work" and last - first + 1 < len(self.rows())

    def further(self) -> None:
        """The next screenful of the list; after its end the first."""
        first, last = self.navigation.rows_seen
        end = len(self.rows()) - 1
        shown = last - first + 1
        # the row that Enter takes may stand two lines taller than it did
        self.navigation.cursor = (
            0 if last >= end else min(end, last + max(1, shown - 2))
        )

    def wheel(self, step: int) -> None:
        """The mouse's wheel, or a finger drawn over the list."""
        if self.navigation.page != "work":
            self.navigation.cursor = max(
                0, min(len(self.rows()) - 1, self.navigation.cursor + step)
            )
        elif self.scrolls or self.navigation.scroll:
            self.navigation.scroll = max(0, self.navigation.scroll + step)

    # ---- keys ------------------------------------------------------------------------

    def key(self, key: str, char: str | None = None) -> bool:
        """True when the key meant something here."""
        self._key = key
        try:
            return self._answered(key, char)
        finally:
            self._key = ""

    def _answered(self, key: str, char: str | None) -> bool:
        self._notes_seen()
        if self.navigation.typing is not None:
            return list_pages.type_key(self, key, char)
        if self.navigation.sure is not None and self._sure(key.lower()):
            return True
        if self.navigation.page != "work" and self._list_key(key):
            return True
        if len(key) == 1:  # keys are shown as capitals
            key = key.lower()
        action = find(key, self.actions)
        if action is None or not action.can(self):
            return False
        self.do(action)
        return True

    def _notes_seen(self) -> None:
        """Somebody is there, so what the daemon noted when it came up has been read; it
        is not said again."""
        if self.state.notes_unseen and self.send(NotesSeen(len(self.state.notes))):
            self.state.notes_unseen = False

    def do(self, action: Action) -> None:
        """By a key that means it, or by touch."""
        navigation, key = self.navigation, self._key
        if navigation.sure is not None and self._sure(
            "enter" if action.name == "press" else action.keys[0]
        ):
            return
        if action.sure(self):
            navigation.sure, navigation.sure_key, navigation.sure_at = (
                action.name,
                key,
                self.state.clock(),
            )
            answers = "Y" if key == "enter" else "Enter or Y"
            self.state.say("sure", f"{answers} does it: {action.help}")
        else:
            action.run(self)

    def _sure(self, key: str) -> bool:
        """Whether the key belongs to what is asked: yes; the asking key again, which is
        no answer; or too soon after it, as a key that bounces or is held. Any other
        takes the question back, and means what it means."""
        navigation = self.navigation
        action = next(a for a in self.actions if a.name == navigation.sure)
        if (
            key in YES
            and key != navigation.sure_key
            and self.state.clock() - navigation.sure_at >= TOO_SOON
        ):
            self._unasked()
            if action.can(self):
                action.run(self)
            return True
        if key in (*YES, navigation.sure_key, *action.keys):
            navigation.sure_at = self.state.clock()
            return True
        self._unasked()
        return False

    def _unasked(self) -> None:
        self.navigation.sure = None
        self.state.notices.over("sure", bad=False)

    def _list_key(self, key: str) -> bool:
        rows = self.rows()
        if key in ("down", "up", "plus", "j", "k"):
            step = -1 if key in ("up", "k") else 1
            if rows:
                self.navigation.cursor = (self.navigation.cursor + step) % len(rows)
            return True
        if key in ("pagedown", "pageup") and rows:
            step = 8 if key == "pagedown" else -8
            self.navigation.cursor = max(
                0, min(len(rows) - 1, self.navigation.cursor + step)
            )
            return True
        if key == "enter" and rows:
            self.take(min(self.navigation.cursor, len(rows) - 1))
            return True
        if key.isdigit() and key != "0" and int(key) <= len(rows):
            self.take(int(key) - 1)
            return True
        if key in ("0", "backspace", "left"):
            self.navigation.back()
            return True
        return False

    def take(self, index: int) -> None:
        rows = self.rows()
        if not 0 <= index < len(rows):
            return
        self.navigation.cursor = index
        row = rows[index]
        if row.field is not None:
            self.navigation.typing, self.navigation.typed = row.field, ""
        elif row.take is not None:
            row.take()

    # ---- requests --------------------------------------------------------------------

    def send(self, message: msgspec.Struct) -> bool:
        if self._send(message):
            return True
        self.state.say("daemon", "No daemon hears this; it was not done.", bad=True)
        return False

    def press(self) -> None:
        state, navigation = self.state, self.navigation
        if state.ask is not None or state.live is not None or state.learn is not None:
            if self.scrolls:
                navigation.scroll += 4
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
            self.navigation.scroll += 4
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

    def next_theme(self) -> None:
        self._look()

    def leave(self) -> None:
        self._leave()
