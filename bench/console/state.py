"""What the screen knows: folded from what the daemon said, and nothing else.

A console that comes back in mid-check is filled from one status reply; it keeps nothing
of its own. Pure: the clock comes in as an argument.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import msgspec

from bench.console.heard import Heard, Pass, cables_heard
from bench.console.sentence import Sentence, Sentences, whole
from bench.protocol import (
    Ask,
    Asking,
    Cables,
    CheckKind,
    ChecksReply,
    Concluded,
    Done,
    Error,
    Finding,
    Fitted,
    GearReply,
    InstrumentState,
    Jig,
    LearnSaid,
    LiveSaid,
    LogRows,
    LogState,
    MarkTaken,
    NotConcluded,
    Notice,
    Points,
    Readings,
    Recording,
    Rejected,
    RunState,
    Said,
    Saved,
    StatusReply,
    SweepSaid,
    Version,
)
from bench.render.finding import unread_words
from bench.units import System

PASSES = 24  # kept lines at most
NOTHING: frozenset[str] = frozenset()


class State(msgspec.Struct):
    """`hear` folds one message and names what changed, so that only that is drawn
    again.

    Names: "number", "health", "ask", "line", "notice", "result", "past", "gear".
    """

    clock: Callable[[], float]
    here: bool = False  # connected, and told how things stand
    coming: bool = False  # connected
    away_words: str = "No daemon yet."
    away_since: float | None = None
    program: str = ""
    units: System = "mm"
    recording: str = "recording"
    log_state: LogState = "recording"
    instruments: dict[str, Heard] = msgspec.field(default_factory=dict)
    run: str | None = None
    check: str | None = None
    jig: str | None = None
    saw: str | None = None
    question: str = ""
    verifies: str | None = None
    ask: Ask | None = None
    line: Pass | None = None  # the running pass
    passes: list[Pass] = msgspec.field(default_factory=list)  # of this check, kept
    last: list[Finding] = msgspec.field(default_factory=list)  # newest first
    past: list[Finding] | None = None
    moves: dict[str, str] = msgspec.field(default_factory=dict)
    # concluded since the console came; shown until something else is begun
    result: Finding | None = None
    gear: GearReply | None = None
    checks: list[CheckKind] | None = None
    live: LiveSaid | None = None
    learn: LearnSaid | None = None
    # cables that are looked for, by port
    ports: dict[str, Heard] = msgspec.field(default_factory=dict)
    lively: str | None = None  # the one whose number moved last
    # what was found and proved while this screen was here
    learned: frozenset[str] = frozenset()
    notices: Sentences = msgspec.field(default_factory=Sentences)
    chosen_jig: str | None = None  # by the user, here
    told_status: bool = False
    notes: list[str] = msgspec.field(default_factory=list)  # of the daemon's start
    untold: bool = False  # some of them are said here for the first time

    # ---- the connection --------------------------------------------------------------

    def came(self) -> frozenset[str]:
        """Connected; what is shown stays as it was until the daemon has said how things
        stand."""
        self.coming = True
        return NOTHING

    def _came(self) -> None:
        back = self.away_since is not None and self.told_status
        self.coming, self.here, self.away_since, self.away_words = False, True, None, ""
        if back:
            self.say("daemon", "The daemon is back; the check stands where it stood.")

    def went(self, words: str) -> frozenset[str]:
        if self.away_since is None:
            self.away_since = self.clock()
        if self.told_status:  # it was here: what is shown stands still until it is back
            words = "Waiting for the daemon."
            if self.here:
                self.say(
                    "daemon",
                    "The daemon went away; what was said to be saved is kept.",
                    bad=True,
                )
        changed = self.here or words != self.away_words
        self.coming, self.here, self.away_words = False, False, words
        self.live = self.learn = None
        self.ports = {}
        return frozenset({"health", "notice", "ask", "number"}) if changed else NOTHING

    # ---- what is asked of it ---------------------------------------------------------

    @property
    def shown(self) -> Heard | None:
        """The instrument whose number is large: the caliper while widths are asked for,
        else the indicator."""
        wanted = (
            "caliper"
            if self.ask is not None and self.ask.gather == "width"
            else "indicator"
        )
        if (
            self.learn is not None
            and self.learn.what != "leaf"
            and self.lively in self.ports
        ):
            return self.ports[self.lively]  # what moves is what is looked for
        for one in self.instruments.values():
            if one.role == wanted:
                return one
        other = next(
            (one for one in self.instruments.values() if one.state != "marks"), None
        )
        return other or next((one for one in self.ports.values() if one.live), None)

    @property
    def the_jig(self) -> str | None:
        """The sled that the screen is about: of the check in progress, chosen, last
        measured, or the only one."""
        if self.run is not None:
            return self.jig
        if self.chosen_jig is not None:
            return self.chosen_jig
        named = next((f.jig for f in self.last if f.jig), None)
        if named is not None:
            return named
        return (
            self.gear.jigs[0].name if self.gear is not None and self.gear.jigs else None
        )

    def jig_gear(self, name: str | None = None) -> Jig | None:
        jigs = self.gear.jigs if self.gear is not None else []
        return next((j for j in jigs if j.name == (name or self.the_jig)), None)

    def board(self, jig: str | None = None) -> float | None:
        """mm: the user's widest board on that sled."""
        known = self.jig_gear(jig)
        return known.widest_board if known is not None else None

    @property
    def finding(self) -> Finding | None:
        """The result to show: just concluded, else the last of this sled, else the last
        of all."""
        if self.result is not None:
            return self.result
        jig = self.the_jig
        return next(
            (f for f in self.last if f.jig == jig), self.last[0] if self.last else None
        )

    def placed_passes(self) -> list[Pass]:
        """Kept passes of the set-up that is asked for now (of the whole check where
        none is)."""
        placement = self.ask.placement if self.ask is not None else None
        return [p for p in self.passes if placement is None or p.placement == placement]

    # ---- folding ---------------------------------------------------------------------

    def say(self, about: str, words: str, *, bad: bool = False) -> None:
        troubled = {name for name, one in self.instruments.items() if one.troubled}
        self.notices.add(Sentence(about, words, bad), troubled)

    def hear(self, message: Said) -> frozenset[str]:
        if isinstance(message, Readings):
            return self._readings(message)
        if isinstance(message, Points):
            return self._points(message)
        for kind, fold in _FOLDS:
            if isinstance(message, kind):
                return frozenset(fold(self, message))
        return NOTHING

    def _readings(self, message: Readings) -> frozenset[str]:
        heard = self.instruments.get(message.instrument)
        if heard is None or not message.values:
            return NOTHING
        now = self.clock()
        was_stale = not heard.fresh(now)
        changed = heard.read(message, now)
        if was_stale:
            return frozenset({"number", "health"})
        return frozenset({"number"}) if changed else NOTHING

    def _points(self, message: Points) -> frozenset[str]:
        if self.line is None or self.line.sweep != message.sweep:
            placement = self.ask.placement if self.ask is not None else None
            self.line = Pass(message.sweep, placement or "")
        self.line.add(message.travel, message.reading)
        return frozenset({"line"})

    def _version(self, message: Version) -> Iterable[str]:
        self.program, self.units = message.program, message.units
        return ("health", "number", "result")

    def _status(self, message: StatusReply) -> Iterable[str]:
        self.program, self.recording, self.log_state = (
            message.program,
            message.recording,
            message.log_state,
        )
        self.last = list(message.last)
        now = self.clock()
        self.instruments = {
            one.name: self._heard(one, now) for one in message.instruments
        }
        if self.coming:
            self._came()
        self.told_status = True
        self.notes = list(message.notes)
        fresh = message.notes[message.told :]
        self.untold = bool(fresh)
        for note in fresh[-2:]:
            self.say("daemon", note)
        self._running(message.run)
        return ("number", "health", "ask", "line", "notice", "result", "past")

    def _heard(self, said: InstrumentState, now: float) -> Heard:
        heard = self.instruments.get(said.name) or Heard(said.name, said.role)
        heard.told(said, now)
        return heard

    def _running(self, run: RunState | None) -> None:
        if run is None:
            self.run = self.check = self.ask = self.line = self.verifies = None
            self.passes = []
            return
        self.run, self.check, self.jig, self.saw = run.id, run.check, run.jig, run.saw
        self.ask, self.question, self.verifies = run.ask, run.question, run.verifies
        self.passes = [Pass.of(fitted) for fitted in run.passes][-PASSES:]
        self.line = None
        self.result = None

    def _instrument(self, message: InstrumentState) -> Iterable[str]:
        before = self.instruments.get(message.name)
        was, words = ("", "") if before is None else (before.state, before.words)
        heard = self.instruments[message.name] = self._heard(message, self.clock())
        if before is not None and words != message.words:
            # another trouble takes the place of the one before
            self.notices.over(message.name)
            if message.state not in ("open", "marks"):
                self.say(message.name, heard.whose_words, bad=True)
            elif was not in ("open", "marks"):
                self.say(message.name, f"The {message.name} is back.")
        return ("number", "health", "notice")

    def _asking(self, message: Asking) -> Iterable[str]:
        if message.run is None:
            self._running(None)
            return ("ask", "line", "notice", "number", "result")
        if message.run != self.run:
            self.passes, self.line, self.result = [], None, None
            self.live = self.learn = None
            self.notices.clear()
        before = self.ask
        self.run, self.check, self.jig, self.ask = (
            message.run,
            message.check,
            message.jig,
            message.ask,
        )
        self.saw, self.question, self.verifies = (
            message.saw,
            message.question,
            message.verifies,
        )
        moved_on = (
            before is None
            or message.ask is None
            or before.placement != message.ask.placement
        )
        if (
            message.ask is not None
            and message.ask.mark is not None
            and self.line is not None
        ):
            taken = message.ask.mark - 1  # one that was taken back is drawn no longer
            moved_on |= len(self.line.travel) > taken
            del self.line.travel[taken:], self.line.reading[taken:]
        return ("ask", "line", "number") if moved_on else ("ask",)

    def _sweep(self, message: SweepSaid) -> Iterable[str]:
        if message.state == "running":
            self.line = Pass(message.sweep, message.placement)
        elif message.state in ("kept", "measured", "back"):
            done = (
                self.line
                if self.line is not None and self.line.sweep == message.sweep
                else None
            )
            done = done or Pass(message.sweep, message.placement)
            # drawn alike
            state = "kept" if message.state == "measured" else message.state
            done.state, done.push, done.slope = state, message.push, message.slope
            self.passes = [*(p for p in self.passes if p.sweep != done.sweep), done][
                -PASSES:
            ]
            self.line = None
        else:
            self.notices.over("pass", bad=False)  # that it was kept
            self.line = None if message.state == "refused" else self.line
            self.passes = [p for p in self.passes if p.sweep != message.sweep]
        if message.words and message.state != "running":
            self.say(
                "pass",
                message.words,
                bad=message.state == "refused" or not message.recorded,
            )
        return ("line", "notice", "ask")

    def _fitted(self, message: Fitted) -> Iterable[str]:
        self.passes = [
            Pass.of(message) if p.sweep == message.sweep else p for p in self.passes
        ]
        return ("line",)

    def _mark(self, message: MarkTaken) -> Iterable[str]:
        if message.at is not None:
            if self.line is None or message.number == 1:
                self.line = Pass("marks", message.placement)
            self.line.add([message.at], [message.value])
        self.say("mark", f"Mark {message.number} of {message.of}: {message.words}")
        return ("line", "notice")

    def _concluded(self, message: Concluded) -> Iterable[str]:
        self.last = [message.finding, *self.last]
        self.past = [message.finding, *self.past] if self.past is not None else None
        if message.run is None or message.run == self.run:
            self.result = message.finding
        self.run = self.ask = self.line = None
        self.notices.clear()  # what was said of the passes is over; the result speaks
        return ("ask", "line", "result", "past", "number", "notice")

    def _not_concluded(self, message: NotConcluded) -> Iterable[str]:
        if message.run == self.run:
            self._running(None)
        self.say("check", message.words, bad=True)
        return ("ask", "line", "notice")

    def _saved(self, message: Saved) -> Iterable[str]:
        if message.what == "move":
            self.moves[message.id] = "made"
            return ("result", "past")
        return ()

    def _notice(self, message: Notice) -> Iterable[str]:
        spoiled = message.about in self.instruments and bool(
            self.instruments[message.about].spoiled
        )
        self.say(message.about, message.words, bad=spoiled or not message.recorded)
        return ("notice",)

    def _error(self, message: Error) -> Iterable[str]:
        self.say("error", whole(message.text), bad=True)
        return ("notice",)

    def _done(self, message: Done) -> Iterable[str]:
        # a sentence is for the person, a word is for the program
        if message.remarks or not message.recorded:
            self.say("done", message.text, bad=not message.recorded)
            return ("notice",)
        return ()

    def _rejected(self, message: Rejected) -> Iterable[str]:
        heard = self.instruments.get(message.instrument)
        if heard is not None:
            heard.rejects += 1
        return ()

    def _recording(self, message: Recording) -> Iterable[str]:
        self.recording, self.log_state = message.words, message.state
        return ("health",)

    def _rows(self, message: LogRows) -> Iterable[str]:
        self.past, self.moves = list(message.findings), dict(message.moves)
        if message.unread:
            self.say("log", unread_words(message.unread), bad=True)
            return ("past", "notice")
        return ("past",)

    def _gear(self, message: GearReply) -> Iterable[str]:
        self.gear, self.units = message, message.units
        return ("gear", "result", "ask")

    def _kinds(self, message: ChecksReply) -> Iterable[str]:
        self.checks = list(message.checks)
        return ("gear",)

    def _live(self, message: LiveSaid) -> Iterable[str]:
        self.live = message if message.on else None
        if not message.on and message.words:
            self.say("live", message.words)
            return ("live", "ask", "number", "notice")
        return ("live", "number")

    def _learning(self, message: LearnSaid) -> Iterable[str]:
        self.learn = (
            message if message.on and message.phase in ("asking", "seen") else None
        )
        if message.phase == "kept":
            self.learned = self.learned | {message.what}
        if self.learn is None and message.words:
            self.say("learn", message.words, bad=message.phase == "failed")
        return ("ask", "notice", "gear")

    def _cables(self, message: Cables) -> Iterable[str]:
        """Numbers of cables that nothing is known of yet; the one that moves is the one
        that is looked at."""
        before = self.ports.keys()
        self.ports = cables_heard(self.ports, message.cables, self.clock())
        moves = [
            port
            for port, one in self.ports.items()
            if one.way() != "still" and not one.grows
        ]
        self.lively = moves[0] if moves else self.lively
        return (
            ("ask", "number")
            if before == self.ports.keys()
            else ("ask", "number", "health")
        )


_FOLDS: tuple[tuple[type, Callable[[State, object], Iterable[str]]], ...] = (
    (Asking, State._asking),
    (SweepSaid, State._sweep),
    (MarkTaken, State._mark),
    (InstrumentState, State._instrument),
    (StatusReply, State._status),
    (Version, State._version),
    (Fitted, State._fitted),
    (Concluded, State._concluded),
    (NotConcluded, State._not_concluded),
    (Notice, State._notice),
    (Error, State._error),
    (Done, State._done),
    (Rejected, State._rejected),
    (Recording, State._recording),
    (Saved, State._saved),
    (LogRows, State._rows),
    (GearReply, State._gear),
    (ChecksReply, State._kinds),
    (LiveSaid, State._live),
    (LearnSaid, State._learning),
    (Cables, State._cables),
)  # type: ignore[assignment]
