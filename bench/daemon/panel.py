"""Pedal, lamp and buzzer joined to the daemon: what is asked is shown, what is pressed
is passed on.

Never the only signal: all of it is also told to the clients.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Callable
from time import monotonic
from typing import Any

import msgspec

from bench.procedure.prompt import Prompt
from bench.protocol import (
    FindingNotice,
    InstrumentState,
    LiveMoveNotice,
    MarkNotice,
    NoFinding,
    PassNotice,
    PromptChanged,
    SetupNotice,
)
from bench.protocol.question import QuestionClock, press_answers
from bench.settings.settings_file import PanelSettings
from hw.panel import Panel

WELL_STATES = ("open", "marks")  # states of an instrument that need nobody
PATTERN_OF = {"ready": "ready-tone"}  # the panel's `ready` is a light


class PanelLink:
    """Shows messages on lamp and buzzer, and passes presses of the pedal on. Works,
    silently, without a panel too. The callbacks come on the event loop.

    on_press: the pedal answers what is asked. on_too_soon: it was pressed sooner after
    the question than a foot can answer it, which is heard too.
    """

    def __init__(
        self,
        settings: PanelSettings | None,
        on_press: Callable[[], object],
        on_long: Callable[[], object],
        on_too_soon: Callable[[], object] = lambda: None,
        make_factory: Callable[[], Any] | None = None,
    ) -> None:
        self._on_press, self._on_too_soon = on_press, on_too_soon
        self._question = QuestionClock()
        self._asked: tuple[str | None, Prompt | None] = (None, None)  # check and prompt
        self._live: LiveMoveNotice | None = None
        self._setup: SetupNotice | None = None
        self._wanted = "idle"  # by the check in progress
        self._running = self._due = False
        self._unwell: set[str] = set()  # instruments
        self.panel = Panel(
            **msgspec.structs.asdict(settings or PanelSettings()),
            on_press=self._pressed,
            on_long=on_long,
            make_factory=make_factory,
        )

    def start(self, loop: asyncio.AbstractEventLoop) -> None:
        # the pin library opens a pipe where it is imported, and moves the process to
        # this folder
        folder = os.environ.get("RUNTIME_DIRECTORY", tempfile.gettempdir())
        os.environ.setdefault("LG_WD", folder)
        self.panel.start(loop)

    def _pressed(self) -> None:
        """A foot that presses twice answers once: not what is asked next. In a check an
        early press waits for its question; elsewhere only what is asked is answered."""
        if self._question.too_soon(monotonic()):
            self.panel.show("trouble")
            self._on_too_soon()
        elif press_answers(self._asked[1], self._live, self._setup) or (
            self._live is None and self._setup is None
        ):
            self._on_press()

    def _note(self, message: msgspec.Struct) -> None:
        """What the pedal would answer from now on."""
        if isinstance(message, PromptChanged):
            self._asked = message.run, message.ask
        elif isinstance(message, FindingNotice | NoFinding):
            self._asked = None, None
        elif isinstance(message, LiveMoveNotice):
            self._live = message if message.on else None
        elif isinstance(message, SetupNotice):
            goes_on = message.on and message.phase in ("asking", "seen")
            self._setup = message if goes_on else None
        else:
            return
        self._question.note(monotonic(), *self._asked, self._live, self._setup)

    def show(self, message: msgspec.Struct) -> None:
        """Light and sound for what is told to the clients; most of it has none."""
        self._note(message)
        if isinstance(message, PromptChanged):
            self._running = message.run is not None
            self._wanted = _wanted(message) or self._wanted
        elif isinstance(message, FindingNotice):
            # What was checked is due no longer; the next review tells of the rest.
            self._running, self._wanted, self._due = False, "idle", False
        elif isinstance(message, NoFinding):
            self._wanted = "trouble"
        elif isinstance(message, InstrumentState):
            well = message.state in WELL_STATES
            (self._unwell.discard if well else self._unwell.add)(message.name)
        elif isinstance(message, PassNotice | MarkNotice):
            if message.recorded and getattr(message, "state", "") != "measured":
                return
            self.panel.show("trouble")
            return
        else:
            return
        # A pulled cable is shown while a check is in progress only.
        self._light()

    def due(self, anything: bool) -> None:
        """Show that something should be checked again, while nothing else is wanted."""
        self._due = anything
        self._light()

    def _light(self) -> None:
        pattern = self._wanted
        if self._running and self._unwell:
            pattern = "trouble"
        elif pattern == "idle" and self._due and not self._running:
            pattern = "due"
        self.panel.show(pattern)

    def tone(self, name: str) -> None:
        """Play a tone on top of what is shown; `low`: move on, `high`: stand still."""
        self.panel.show(PATTERN_OF.get(name, name))


def _wanted(message: PromptChanged) -> str | None:
    """The light for what the check wants; None to leave it as it is."""
    if message.ask is None or message.ask.phase in ("working-out", "done"):
        return "idle"
    return "ready" if message.ask.ready else "wants-you" if message.ask.enter else None
