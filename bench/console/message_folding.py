"""How each message of the daemon changes what the screen knows.

`fold` names what changed, so that only that is drawn again: "number", "health", "ask",
"line", "notice", "result", "past", "gear".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from bench.console import pass_folding
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


def fold(state: ViewModel, message: AnyNotification) -> frozenset[str]:
    """Fold one message into the state; the names of what changed."""
    change = _FOLDS.get(type(message))
    return NOTHING if change is None else frozenset(change(state, message))


def _readings(state: ViewModel, message: Readings) -> frozenset[str]:
    instrument = state.instruments.get(message.instrument)
    if instrument is None or not message.values:
        return NOTHING
    now = state.clock()
    was_stale = not instrument.fresh(now)
    changed = instrument.add_readings(message, now)
    if was_stale:
        return frozenset({"number", "health"})
    return frozenset({"number"}) if changed else NOTHING


def _version(state: ViewModel, message: Version) -> Iterable[str]:
    state.program, state.units = message.program, message.units
    return ("health", "number", "result")


def _status(state: ViewModel, message: StatusReply) -> Iterable[str]:
    state.program, state.recording, state.log_state = (
        message.program,
        message.recording,
        message.log_state,
    )
    state.last = list(message.last)
    now = state.clock()
    state.instruments = {
        one.name: _instrument_view(state, one, now) for one in message.instruments
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
    return ("number", "health", "ask", "line", "notice", "result", "past")


def _instrument_view(
    state: ViewModel, said: InstrumentState, now: float
) -> InstrumentView:
    instrument = state.instruments.get(said.name) or InstrumentView(
        said.name, said.role
    )
    instrument.update(said, now)
    return instrument


def _running(state: ViewModel, run: RunState | None) -> None:
    if run is None:
        state.run = state.check = state.ask = state.line = state.verifies = None
        state.passes = []
        return
    state.run, state.check, state.jig, state.saw = run.id, run.check, run.jig, run.saw
    state.ask, state.question, state.verifies = run.ask, run.question, run.verifies
    state.passes = [PassView.of(fitted) for fitted in run.passes][
        -pass_folding.PASSES :
    ]
    state.line = None
    state.result = None


def _instrument(state: ViewModel, message: InstrumentState) -> Iterable[str]:
    before = state.instruments.get(message.name)
    was, words = ("", "") if before is None else (before.state, before.words)
    instrument = state.instruments[message.name] = _instrument_view(
        state, message, state.clock()
    )
    if before is not None and words != message.words:
        # another trouble takes the place of the one before
        state.notices.over(message.name)
        if message.state not in ("open", "marks"):
            state.say(message.name, instrument.named_words, bad=True)
        elif was not in ("open", "marks"):
            state.say(message.name, f"The {message.name} is back.")
    return ("number", "health", "notice")


def _asking(state: ViewModel, message: PromptChanged) -> Iterable[str]:
    if message.run is None:
        _running(state, None)
        return ("ask", "line", "notice", "number", "result")
    if message.run != state.run:
        state.passes, state.line, state.result = [], None, None
        state.live = state.learn = None
        state.notices.clear()
    before = state.ask
    state.run, state.check, state.jig, state.ask = (
        message.run,
        message.check,
        message.jig,
        message.ask,
    )
    state.saw, state.question, state.verifies = (
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
        and state.line is not None
    ):
        taken = message.ask.mark - 1  # one that was taken back is drawn no longer
        moved_on |= len(state.line.travel) > taken
        del state.line.travel[taken:], state.line.reading[taken:]
    return ("ask", "line", "number") if moved_on else ("ask",)


def _concluded(state: ViewModel, message: Concluded) -> Iterable[str]:
    state.last = [message.finding, *state.last]
    state.past = [message.finding, *state.past] if state.past is not None else None
    if message.run is None or message.run == state.run:
        state.result = message.finding
    state.run = state.ask = state.line = None
    state.due = None  # it may be another now
    state.notices.clear()  # what was said of the passes is over; the result speaks
    return ("ask", "line", "result", "past", "number", "notice")


def _not_concluded(state: ViewModel, message: NoFinding) -> Iterable[str]:
    if message.run == state.run:
        _running(state, None)
    state.say("check", message.words, bad=True)
    return ("ask", "line", "notice")


def _saved(state: ViewModel, message: Saved) -> Iterable[str]:
    if message.what == "move":
        state.moves[message.id] = "made"
        return ("result", "past")
    return ()


def _notice(state: ViewModel, message: Notice) -> Iterable[str]:
    spoiled = message.about in state.instruments and bool(
        state.instruments[message.about].spoiled
    )
    state.say(message.about, message.words, bad=spoiled or not message.recorded)
    return ("notice",)


def _error(state: ViewModel, message: Error) -> Iterable[str]:
    state.say("error", as_sentence(message.text), bad=True)
    return ("notice",)


def _done(state: ViewModel, message: Done) -> Iterable[str]:
    # a sentence is for the person, a word is for the program
    if message.remarks or not message.recorded:
        state.say("done", message.text, bad=not message.recorded)
        return ("notice",)
    return ()


def _rejected(state: ViewModel, message: Rejected) -> Iterable[str]:
    instrument = state.instruments.get(message.instrument)
    if instrument is not None:
        instrument.rejects += 1
    return ()


def _recording(state: ViewModel, message: Recording) -> Iterable[str]:
    state.recording, state.log_state = message.words, message.state
    return ("health",)


def _rows(state: ViewModel, message: LogRows) -> Iterable[str]:
    state.past, state.moves = list(message.findings), dict(message.moves)
    if message.unread:
        state.say("log", unread_words(message.unread), bad=True)
        return ("past", "notice")
    return ("past",)


def _document(state: ViewModel, message: Document) -> Iterable[str]:
    part = {DUE: "due", DRIFT: "drift", CUT: "cut", SHOP: "shop"}.get(message.ref or 0)
    if part is None:
        return ()
    setattr(state, part, message.document)
    return (part,)


def _gear(state: ViewModel, message: GearReply) -> Iterable[str]:
    state.gear, state.units = message, message.units
    return ("gear", "result", "ask")


def _kinds(state: ViewModel, message: ChecksReply) -> Iterable[str]:
    state.checks = list(message.checks)
    return ("gear",)


def _live(state: ViewModel, message: LiveMoveNotice) -> Iterable[str]:
    state.live = message if message.on else None
    if not message.on and message.words:
        state.say("live", message.words)
        return ("live", "ask", "number", "notice")
    return ("live", "number")


def _learning(state: ViewModel, message: SetupNotice) -> Iterable[str]:
    state.learn = (
        message if message.on and message.phase in ("asking", "seen") else None
    )
    if message.phase == "kept":
        state.learned = state.learned | {message.what}
    if state.learn is None and message.words:
        state.say("learn", message.words, bad=message.phase == "failed")
    return ("ask", "notice", "gear")


def _cables(state: ViewModel, message: Cables) -> Iterable[str]:
    """Numbers of cables that nothing is known of yet; the one that moves is the one
    that is looked at."""
    before = state.ports.keys()
    state.ports = cable_views(state.ports, message.cables, state.clock())
    moves = [
        port
        for port, one in state.ports.items()
        if one.way() != "still" and not one.grows
    ]
    state.moving_port = moves[0] if moves else state.moving_port
    return (
        ("ask", "number")
        if before == state.ports.keys()
        else ("ask", "number", "health")
    )


# by the type of the message
_FOLDS: dict[type, Callable[[ViewModel, Any], Iterable[str]]] = {
    Readings: _readings,
    Points: pass_folding.fold_points,
    PromptChanged: _asking,
    PassNotice: pass_folding.fold_sweep,
    MarkNotice: pass_folding.fold_mark,
    InstrumentState: _instrument,
    StatusReply: _status,
    Version: _version,
    FittedPass: pass_folding.fold_fitted,
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
