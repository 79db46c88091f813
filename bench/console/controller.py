"""The controller of the screen: keys and touch, turned into actions and into moves
between pages."""

from __future__ import annotations

from collections.abc import Callable

from bench.console import list_pages, value_entry
from bench.console.action import Action
from bench.console.actions import ACTIONS, FURTHER, find
from bench.console.navigation import ListRow, Navigation
from bench.console.request_controller import RequestController, Send
from bench.console.view_model import ViewModel
from bench.protocol import NotesSeen

YES = ("enter", "y")  # the keys that confirm
# s after the question, or after a key that came too soon, in which nothing is an answer
TOO_SOON = 0.4


class ScreenController(RequestController):
    """`extra` are actions of whoever builds the screen (the pretend saw's hands), `tip`
    a line of theirs beside what is asked; the screen knows nothing of either."""

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
        super().__init__(state, navigation, send)
        self.leave, self.next_theme = leave, look
        self.extra = extra
        self.tip = tip
        self._key = ""  # the key that is being answered; none by touch

    # ---- the row of keys and the lists -----------------------------------------------

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
            return value_entry.enter_key(self, key, char)
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
