"""The view model: what the screen knows, all of it from messages of the daemon.

A console that comes back in mid-check is filled from one status reply; it keeps nothing
of its own. The clock comes in as an argument.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain
from typing import Any, Literal

import msgspec

from bench.console.instrument_view import InstrumentView, PassView
from bench.console.notices import NoticeLine, NoticeList
from bench.protocol import (
    CheckKind,
    Finding,
    GearReply,
    Jig,
    LiveMoveNotice,
    LogState,
    Prompt,
    SetupNotice,
)
from bench.units import System

DocumentName = Literal["due", "drift", "cut", "shop"]
# a request for one carries its place here, from 1, as its reference; so does the answer
DOCUMENTS: tuple[DocumentName, ...] = ("due", "drift", "cut", "shop")
# how much of the screen a change concerns: the live number, the running pass, what keys
# do, or all
Change = Literal["number", "pass", "keys", "state"]


NO_PROMPT = Prompt(phase="")  # type: ignore[arg-type]  # stands for: nothing is asked


class ViewModel(msgspec.Struct):
    """See `message_folding` for what changes it."""

    clock: Callable[[], float]
    online: bool = False  # connected, and told how things stand
    connecting: bool = False  # connected, and not told yet how things stand
    away_words: str = "No daemon yet."
    away_since: float | None = None
    units: System = "mm"
    log_state: LogState = "recording"
    instruments: dict[str, InstrumentView] = msgspec.field(default_factory=dict)
    run: str | None = None
    check: str | None = None
    jig: str | None = None
    saw: str | None = None
    question: str = ""
    verifies: str | None = None
    prompt: Prompt | None = None
    running_pass: PassView | None = None
    passes: list[PassView] = msgspec.field(default_factory=list)  # of this check, kept
    last: list[Finding] = msgspec.field(default_factory=list)  # newest first
    past: list[Finding] | None = None
    moves: dict[str, str] = msgspec.field(default_factory=dict)
    # concluded since the console came; shown until something else is begun
    result: Finding | None = None
    gear: GearReply | None = None
    # documents of the log, as `sweepgauge due`, `drift` and `cut` print them
    due: dict[str, Any] | None = None
    due_stale: bool = False  # it may be another now, and is asked for
    drift: dict[str, Any] | None = None
    cut: dict[str, Any] | None = None
    shop: dict[str, Any] | None = None
    checks: list[CheckKind] | None = None
    live: LiveMoveNotice | None = None
    setup: SetupNotice | None = None
    # cables that are looked for, by port
    ports: dict[str, InstrumentView] = msgspec.field(default_factory=dict)
    moving_port: str | None = None  # the one whose number moved last
    # what was found and proved while this screen was here
    finished_setups: frozenset[str] = frozenset()
    notices: NoticeList = msgspec.field(default_factory=NoticeList)
    chosen_jig: str | None = None  # by the user, here
    status_known: bool = False
    notes: list[str] = msgspec.field(default_factory=list)  # of the daemon's start
    notes_unseen: bool = False  # some of them are said here for the first time

    # ---- the connection --------------------------------------------------------------

    def confirm_connection(self) -> None:
        back = self.away_since is not None and self.status_known
        self.connecting, self.online = False, True
        self.away_since, self.away_words = None, ""
        if back:
            self.say("daemon", "The daemon is back; the check stands where it stood.")

    def disconnected(self, words: str) -> None:
        if self.away_since is None:
            self.away_since = self.clock()
        if self.status_known:  # what is shown stands still until it is back
            words = "Waiting for the daemon."
            if self.online:
                gone = "The daemon went away; what was said to be saved is kept."
                self.say("daemon", gone, bad=True)
        self.connecting, self.online, self.away_words = False, False, words
        self.live = self.setup = None
        self.ports = {}

    # ---- what is asked of it ---------------------------------------------------------

    @property
    def current_prompt(self) -> Prompt:
        return self.prompt or NO_PROMPT

    @property
    def shown(self) -> InstrumentView | None:
        """The instrument whose number is large: the caliper while widths are asked for,
        else the indicator."""
        width = self.current_prompt.gather == "width"
        wanted = "caliper" if width else "indicator"
        found = self.setup is not None and self.setup.what != "leaf"
        if found and self.moving_port in self.ports:
            return self.ports[self.moving_port]  # what moves is what is looked for
        ones = list(self.instruments.values())
        return next(
            chain(
                (one for one in ones if one.role == wanted),
                (one for one in ones if one.state != "marks"),
                (one for one in self.ports.values() if one.live),
            ),
            None,
        )

    @property
    def oldest_reading(self) -> float:
        """s since the latest reading of the instrument that has had none for longest;
        0 where none reads."""
        ones = self.instruments.values()
        at = [i.at for i in ones if i.at is not None and i.state == "open"]
        return self.clock() - min(at, default=self.clock())

    @property
    def trouble(self) -> str:
        """The fault of an instrument that is read just now; empty: none."""
        width = self.current_prompt.gather == "width"
        wanted = ("caliper",) if width else ("indicator", "travel")
        for one in self.instruments.values():
            if one.role in wanted and one.troubled:
                return one.named_words
        return ""

    @property
    def current_jig(self) -> str | None:
        """The sled that the screen is about: of the check in progress, chosen, last
        measured, or the only one."""
        if self.run is not None:
            return self.jig
        if self.chosen_jig is not None:
            return self.chosen_jig
        described = self.gear.jigs if self.gear is not None else []
        names = chain((f.jig for f in self.last if f.jig), (j.name for j in described))
        return next(names, None)

    def choose_jig(self, name: str) -> None:
        """The sled that the screen is about from now on."""
        self.chosen_jig, self.result, self.past = name, None, None

    def find_jig(self, name: str | None = None) -> Jig | None:
        jigs = self.gear.jigs if self.gear is not None else []
        return next((j for j in jigs if j.name == (name or self.current_jig)), None)

    def kind(self, check: str) -> CheckKind | None:
        """The check as the daemon lists it."""
        return next((k for k in self.checks or [] if k.kind == check), None)

    def widest_board(self, jig: str | None = None) -> float | None:
        """mm: the user's widest board on that sled."""
        known = self.find_jig(jig)
        return known.widest_board if known is not None else None

    def board(self, finding: Finding) -> float | None:
        """mm: the board across which the result is told; None where it is not of a sled
        fence, since a blade or a rip fence turns no board."""
        kind = self.kind(finding.check)
        turns = kind is not None and kind.turns_fence
        return self.widest_board(finding.jig) if turns else None

    @property
    def past_findings(self) -> list[Finding]:
        """Results asked of the log where they have come, else those of the status."""
        return self.past if self.past is not None else self.last

    @property
    def finding(self) -> Finding | None:
        """The result to show: just concluded, else the last of this sled, else the last
        of all."""
        if self.result is not None:
            return self.result
        jig = self.current_jig
        here = (f for f in self.last if f.jig == jig)
        return next(chain(here, self.last), None)

    def placed_passes(self) -> list[PassView]:
        """Kept passes of the set-up that is asked for now (of the whole check where
        none is)."""
        placement = self.current_prompt.placement
        return [p for p in self.passes if placement is None or p.placement == placement]

    # ---- notices ---------------------------------------------------------------------

    def say(self, about: str, words: str, *, bad: bool = False) -> None:
        troubled = {name for name, one in self.instruments.items() if one.troubled}
        self.notices.add(NoticeLine(about, words, bad), troubled)
