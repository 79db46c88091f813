"""How each message of the daemon changes what the screen knows.

`fold` names what changed, so that only that is drawn again: "number", "health", "ask",
"line", "notice", "result", "past", "gear".
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bench.console.instrument_view import InstrumentView, PassView, cable_views
from bench.console.notices import as_sentence
from bench.console.view_model import CUT, DRIFT, DUE, NOTHING, SHOP, ViewModel
from bench.protocol import (
    AnyNotification,
    Cables,
    ChecksReply,
    Concluded,
    Document,
    Done,
    Error,
    FittedPass,
    GearReply,
    InstrumentState,
    LiveMoveNotice,
    LogRows,
    MarkNotice,
    NoFinding,
    Notice,
    PassNotice,
    Points,
    PromptChanged,
    Readings,
    Recording,
    Rejected,
    RunState,
    Saved,
    SetupNotice,
    StatusReply,
    Version,
)
from bench.render.finding import unread_words
from bench.render.screen import told

COUNTED = ("pass-kept",)  # remarks that the row of the state says as well
PASSES = 24  # passes of a check that are kept to be drawn
WELL = ("open", "marks")  # states of an instrument without trouble
DOCUMENTS = {DUE: "due", DRIFT: "drift", CUT: "cut", SHOP: "shop"}


def fold(state: ViewModel, message: AnyNotification) -> frozenset[str]:
    """Fold one message into the state; the names of what changed."""
    change = _FOLDS.get(type(message))
    return NOTHING if change is None else frozenset(change(state, message).split())


# each gives the names of what changed, parted by blanks


def _readings(state: ViewModel, message: Readings) -> str:
    instrument = state.instruments.get(message.instrument)
    if instrument is None or not message.values:
        return ""
    now = state.clock()
    was_stale = not instrument.fresh(now)
    changed = instrument.add_readings(message, now)
    return "number health" if was_stale else "number" if changed else ""


def _version(state: ViewModel, message: Version) -> str:
    state.units = message.units
    return "health number result"


def _status(state: ViewModel, message: StatusReply) -> str:
    state.log_state, state.last = message.log_state, list(message.last)
    state.instruments = {
        one.name: _instrument_view(state, one) for one in message.instruments
    }
    if state.connecting:
        state.confirm_connection()
    state.status_known = True
    state.notes = list(message.notes)
    fresh = message.notes[message.told :]
    state.notes_unseen = bool(fresh)
    for note in fresh[-2:]:
        state.say("daemon", note)
    _running(state, message.run)
    return "number health ask line notice result past"


def _instrument_view(state: ViewModel, said: InstrumentState) -> InstrumentView:
    known = state.instruments.get(said.name)
    instrument = known or InstrumentView(said.name, said.role)
    instrument.update(said, state.clock())
    return instrument


def _running(state: ViewModel, run: RunState | None) -> None:
    if run is None:
        state.run = state.check = state.ask = state.line = state.verifies = None
        state.passes = []
        return
    _asked(state, run.id, run)
    state.passes = [PassView.of(fitted) for fitted in run.passes][-PASSES:]
    state.line = state.result = None


def _asked(state: ViewModel, run: str, said: RunState | PromptChanged) -> None:
    state.run, state.check, state.ask = run, said.check, said.ask
    state.jig, state.saw, state.verifies = said.jig, said.saw, said.verifies
    state.question = said.question


def _instrument(state: ViewModel, message: InstrumentState) -> str:
    before = state.instruments.get(message.name)
    was, words = ("", "") if before is None else (before.state, before.words)
    instrument = _instrument_view(state, message)
    state.instruments[message.name] = instrument
    if before is not None and words != message.words:
        lost = any(one.bad and one.about == message.name for one in state.notices)
        # another trouble takes the place of the one before, and of being back
        well = message.state in WELL
        state.notices.over(message.name, bad=well)
        if not well:
            state.say(message.name, instrument.named_words, bad=True)
        elif was not in WELL and lost:  # one that is heard first was never away
            state.say(message.name, told("back", name=message.name))
    return "number health notice"


def _asking(state: ViewModel, message: PromptChanged) -> str:
    if message.run is None:
        _running(state, None)
        return "ask line notice number result"
    if message.run != state.run:
        state.passes = []
        state.line = state.result = state.live = state.learn = None
        state.notices.clear()
    before, ask = state.ask, message.ask
    _asked(state, message.run, message)
    was, now = ((one and (one.placement, one.step)) for one in (before, ask))
    moved_on = was is None or was != now
    if moved_on:  # what was said of the set-up before is over
        state.notices[:] = [one for one in state.notices if one.bad]
    if ask is not None and ask.mark is not None and state.line is not None:
        taken = ask.mark - 1  # one that was taken back is drawn no longer
        moved_on |= len(state.line.travel) > taken
        del state.line.travel[taken:], state.line.reading[taken:]
    return "ask line number notice" if moved_on else "ask"


def _concluded(state: ViewModel, message: Concluded) -> str:
    state.last = [message.finding, *state.last]
    state.past = [message.finding, *state.past] if state.past is not None else None
    if message.run is None or message.run == state.run:
        state.result = message.finding
    state.run = state.ask = state.line = None
    state.due = None  # it may be another now
    state.notices.clear()  # what was said of the passes is over; the result speaks
    return "ask line result past number notice"


def _not_concluded(state: ViewModel, message: NoFinding) -> str:
    if message.run == state.run:
        _running(state, None)
    state.say("check", message.words, bad=True)
    return "ask line notice"


def _saved(state: ViewModel, message: Saved) -> str:
    if message.what != "move":
        return ""
    state.moves[message.id] = "made"
    return "result past"


def _notice(state: ViewModel, message: Notice) -> str:
    about = state.instruments.get(message.about)
    spoiled = about is not None and bool(about.spoiled)
    bad = spoiled or message.severity == "warning" or not message.recorded
    state.say(message.about, message.words, bad=bad)
    return "notice"


def _error(state: ViewModel, message: Error) -> str:
    state.say("error", as_sentence(message.text), bad=True)
    return "notice"


def _done(state: ViewModel, message: Done) -> str:
    # a sentence is for the person, a word is for the program
    if not message.remarks and message.recorded:
        return ""
    state.say("done", message.text, bad=not message.recorded)
    return "notice"


def _rejected(state: ViewModel, message: Rejected) -> str:
    instrument = state.instruments.get(message.instrument)
    if instrument is not None:
        instrument.rejects += 1
    return ""


def _recording(state: ViewModel, message: Recording) -> str:
    state.log_state = message.state
    return "health"


def _rows(state: ViewModel, message: LogRows) -> str:
    state.past, state.moves = list(message.findings), dict(message.moves)
    if message.unread:
        state.say("log", unread_words(message.unread), bad=True)
    return "past notice" if message.unread else "past"


def _document(state: ViewModel, message: Document) -> str:
    part = DOCUMENTS.get(message.ref or 0, "")
    if part:
        setattr(state, part, message.document)
    return part


def _gear(state: ViewModel, message: GearReply) -> str:
    state.gear, state.units = message, message.units
    return "gear result ask"


def _kinds(state: ViewModel, message: ChecksReply) -> str:
    state.checks = list(message.checks)
    return "gear"


def _live(state: ViewModel, message: LiveMoveNotice) -> str:
    state.live = message if message.on else None
    if message.on or not message.words:
        return "live number"
    state.say("live", message.words)
    return "live ask number notice"


def _learning(state: ViewModel, message: SetupNotice) -> str:
    goes_on = message.on and message.phase in ("asking", "seen")
    state.learn = message if goes_on else None
    if message.phase == "kept":
        state.learned = state.learned | {message.what}
    if not goes_on and message.words:
        state.say("learn", message.words, bad=message.phase == "failed")
    return "ask notice gear"


def _cables(state: ViewModel, message: Cables) -> str:
    """Numbers of cables that nothing is known of yet; the one that moves is the one
    that is looked at."""
    before = state.ports.keys()
    state.ports = cable_views(state.ports, message.cables, state.clock())
    for port, one in state.ports.items():
        if one.way() != "still" and not one.grows:
            state.moving_port = port
            break
    same = before == state.ports.keys()
    return "ask number" if same else "ask number health"


# ---- passes --------------------------------------------------------------------------


def _points(state: ViewModel, message: Points) -> str:
    if state.line is None or state.line.sweep != message.sweep:
        placement = state.ask.placement if state.ask is not None else None
        state.line = PassView(message.sweep, placement or "")
    state.line.add(message.travel, message.reading)
    return "line"


def _pass(state: ViewModel, message: PassNotice) -> str:
    if message.state == "running":
        state.line = PassView(message.sweep, message.placement)
        return "line notice ask"
    state.notices.over("pass", bad=False)  # what was said of the one before
    others = [p for p in state.passes if p.sweep != message.sweep]
    if message.state in ("kept", "measured", "back"):
        line = state.line
        if line is None or line.sweep != message.sweep:
            line = PassView(message.sweep, message.placement)
        line.push = message.push
        state.passes, state.line = [*others, line][-PASSES:], None
    else:
        state.line = None if message.state == "refused" else state.line
        state.passes = others
    counted = any(one.code in COUNTED for one in message.remarks)
    if message.words and not counted:
        bad = message.state == "refused" or not message.recorded
        state.say("pass", message.words, bad=bad)
    return "line notice ask"


def _fitted(state: ViewModel, message: FittedPass) -> str:
    fitted = PassView.of(message)
    state.passes = [fitted if p.sweep == fitted.sweep else p for p in state.passes]
    return "line"


def _mark(state: ViewModel, message: MarkNotice) -> str:
    if message.at is not None:
        if state.line is None or message.number == 1:
            state.line = PassView("marks", message.placement)
        state.line.add([message.at], [message.value])
    number, of, words = message.number, message.of, message.words
    state.say("mark", told("mark", number=number, of=of, words=words))
    return "line notice"


# by the type of the message
_FOLDS: dict[type, Callable[[ViewModel, Any], str]] = {
    Readings: _readings,
    Points: _points,
    PromptChanged: _asking,
    PassNotice: _pass,
    MarkNotice: _mark,
    InstrumentState: _instrument,
    StatusReply: _status,
    Version: _version,
    FittedPass: _fitted,
    Concluded: _concluded,
    Document: _document,
    NoFinding: _not_concluded,
    Notice: _notice,
    Error: _error,
    Done: _done,
    Rejected: _rejected,
    Recording: _recording,
    Saved: _saved,
    LogRows: _rows,
    GearReply: _gear,
    ChecksReply: _kinds,
    LiveMoveNotice: _live,
    SetupNotice: _learning,
    Cables: _cables,
}
