"""Actions, and the face of the controller that lists and first start work with."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, Protocol

import msgspec

from bench.console.navigation import Navigation
from bench.console.view_model import ViewModel
from bench.protocol import Begin, Finding, Learn

Touches = Literal["fence", "arm"]
Stands = Literal["beyond", "behind", "left", "right"]


class Requester(Protocol):
    """What the user asks of the daemon; see RequestController."""

    state: ViewModel
    navigation: Navigation
    scrolls: bool
    last_begin: Begin | None

    @property
    def moved(self) -> bool: ...
    @property
    def enter_answers(self) -> bool: ...
    @property
    def can_undo_pass(self) -> bool: ...
    @property
    def can_settle(self) -> bool: ...
    @property
    def enter_act(self) -> str: ...
    def send(self, message: msgspec.Struct) -> bool: ...
    def press(self) -> None: ...
    def begin(self, begin: Begin) -> None: ...
    def again(self) -> None: ...
    def more(self) -> None: ...
    def undo(self) -> None: ...
    def give_up(self) -> None: ...
    def live(self) -> None: ...
    def begin_live(
        self, touches: Touches, stands: Stands, from_pivot: float | None = None
    ) -> None: ...
    def note_move(self, finding: Finding, distance: float, how: str) -> None: ...
    def learn(self, learn: Learn) -> None: ...
    def past(self) -> None: ...
    def turn_picture(self) -> None: ...


class Controller(Requester, Protocol):
    """A Requester with the keys and the lists of the screen; see ScreenController."""

    leave: Callable[[], None]
    next_theme: Callable[[], None]

    @property
    def actions(self) -> tuple[Action, ...]: ...
    @property
    def list_overflows(self) -> bool: ...
    def do(self, action: Action) -> None: ...
    def further(self) -> None: ...


class Action(msgspec.Struct, frozen=True):
    """`keys`: the first is shown. `word` may depend on what is asked. `can`: whether it
    would do anything now."""

    name: str
    keys: tuple[str, ...]
    word: Callable[[Controller], str]
    help: str
    run: Callable[[Controller], None]
    can: Callable[[Controller], bool] = lambda controller: True
    # asks first; another key than its own says yes
    sure: Callable[[Controller], bool] = lambda controller: False
    late: bool = False  # in the row of keys behind those of the job
