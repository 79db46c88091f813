"""The change that each message of the daemon makes to the view model.

`fold` tells how much of the screen that concerns: the live number and the running pass
change many times a second, and then only what shows them is drawn again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bench.console.instrument_view import InstrumentView, PassView, cable_views
from bench.console.view_model import DOCUMENTS, Change, ViewModel
from bench.protocol import (
    Cables,
    ChecksReply,
    Document,
    Done,
    Error,
    FindingNotice,
    FittedPass,
    GearReply,
    InstrumentState,
    LiveMoveNotice,
    LogRows,
    MarkNotice,
    Message,
    NoFinding,
    Notice,
    PassNotice,
    Points,
    PromptChanged,
    Readings,
    Recording,
    RejectedFrame,
    RunState,
    SavedNotice,
    SetupNotice,
    StatusReply,
    Version,
)
from bench.render.finding import unread_words
from bench.render.screen import screen_text
from bench.render.wording import as_sentence

COUNT_REMARKS = ("pass-kept",)  # remarks that the row of the state says as well
DRAWN_PASSES = 24  # passes of a check that are kept to be drawn
HEALTHY = ("open", "marks")  # states of an instrument without trouble


def fold(state: ViewModel, message: Message) -> Change | None:
    """Fold one message into the state; None: nothing changed to the eye."""
    change = _FOLDS.get(type(message))
    if change is None or change(state, message) is False:
        return None
    return _QUICK.get(type(message), "state")


# each gives False where nothing changed to the eye


def _readings(state: ViewModel, message: Readings) -> bool:
    instrument = state.instruments.get(message.instrument)
    if instrument is None or not message.values:
        return False
    return instrument.add_readings(message, state.clock())


def _version(state: ViewModel, message: Version) -> None:
    state.units = message.units


def _status(state: ViewModel, message: StatusReply) -> None:
    state.log_state, state.last = message.log_state, list(message.last)
    state.instruments = {
        one.name: _instrument_view(state, one) for one in message.instruments
    }
    if state.connecting:
        state.confirm_connection()
    state.status_known = state.due_stale = True
    state.notes = list(message.notes)
    fresh = message.notes[message.told :]
    state.notes_unseen = bool(fresh)
    for note in fresh[-2:]:
        state.say("daemon", note)
    _set_check(state, message.run)


def _instrument_view(state: ViewModel, message: InstrumentState) -> InstrumentView:
    known = state.instruments.get(message.name)
    instrument = known or InstrumentView(message.name, message.role)
    instrument.update(message, state.clock())
    return instrument


def _set_check(state: ViewModel, run: RunState | None) -> None:
    if run is None:
        state.run = state.check = state.prompt = state.verifies = None
        state.running_pass, state.passes = None, []
        return
    _set_prompt(state, run.id, run)
    state.passes = [PassView.of(fitted) for fitted in run.passes][-DRAWN_PASSES:]
    state.running_pass = state.result = None


def _set_prompt(state: ViewModel, run: str, message: RunState | PromptChanged) -> None:
    state.run, state.check, state.prompt = run, message.check, message.ask
    state.jig, state.saw, state.verifies = message.jig, message.saw, message.verifies
    state.question = message.question


def _instrument(state: ViewModel, message: InstrumentState) -> None:
    before = state.instruments.get(message.name)
    was, words = ("", "") if before is None else (before.state, before.words)
    instrument = _instrument_view(state, message)
    state.instruments[message.name] = instrument
    if before is not None and words != message.words:
        lost = any(one.bad and one.about == message.name for one in state.notices)
        # another trouble takes the place of the one before, and of being back
        well = message.state in HEALTHY
        state.notices.over(message.name, bad=well)
        if not well:
            state.say(message.name, instrument.named_words, bad=True)
        elif was not in HEALTHY and lost:  # one that is heard first was never away
            state.say(message.name, screen_text("back", name=message.name))


def _prompt_changed(state: ViewModel, message: PromptChanged) -> None:
    if message.run is None:
        _set_check(state, None)
        # what was said of its set-ups and passes is over; a cable is still out
        kept = [one for one in state.notices if one.about in state.instruments]
        state.notices[:] = [one for one in kept if one.bad]
        return
    if message.run != state.run:
        state.passes = []
        state.running_pass = state.result = state.live = state.setup = None
        state.notices.clear()
    before, prompt = state.prompt, message.ask
    _set_prompt(state, message.run, message)
    was, now = ((one and (one.placement, one.step)) for one in (before, prompt))
    if was is None or was != now:  # what was said of the set-up before is over
        state.notices[:] = [one for one in state.notices if one.bad]
    mark, running = state.current_prompt.mark, state.running_pass
    if mark is not None and running is not None:  # a mark taken back is drawn no longer
        del running.travel[mark - 1 :], running.reading[mark - 1 :]


def _concluded(state: ViewModel, message: FindingNotice) -> None:
    state.last = [message.finding, *state.last]
    state.past = [message.finding, *state.past] if state.past is not None else None
    if message.run is None or message.run == state.run:
        state.result = message.finding
    state.run = state.prompt = state.running_pass = None
    state.due, state.due_stale = None, True
    state.notices.clear()  # what was said of the passes is over; the result speaks


def _not_concluded(state: ViewModel, message: NoFinding) -> None:
    if message.run == state.run:
        _set_check(state, None)
    state.say("check", message.words, bad=True)


def _saved(state: ViewModel, message: SavedNotice) -> None:
    if message.what == "move":
        state.moves[message.id] = "made"


def _notice(state: ViewModel, message: Notice) -> None:
    about = state.instruments.get(message.about)
    spoiled = about is not None and bool(about.spoiled)
    bad = spoiled or message.severity == "warning" or not message.recorded
    state.say(message.about, message.words, bad=bad)


def _error(state: ViewModel, message: Error) -> None:
    state.say("error", as_sentence(message.text), bad=True)


def _done(state: ViewModel, message: Done) -> None:
    # a sentence is for the person, a word is for the program
    if message.remarks or not message.recorded:
        state.say("done", message.text, bad=not message.recorded)


def _rejected(state: ViewModel, message: RejectedFrame) -> bool:
    instrument = state.instruments.get(message.instrument)
    if instrument is not None:
        instrument.rejects += 1
    return False


def _recording(state: ViewModel, message: Recording) -> None:
    state.log_state = message.state


def _rows(state: ViewModel, message: LogRows) -> None:
    state.past, state.moves = list(message.findings), dict(message.moves)
    if message.unread:
        state.say("log", unread_words(message.unread), bad=True)


def _document(state: ViewModel, message: Document) -> None:
    if message.ref is not None:
        setattr(state, DOCUMENTS[message.ref - 1], message.document)


def _gear(state: ViewModel, message: GearReply) -> None:
    state.gear, state.units = message, message.units


def _kinds(state: ViewModel, message: ChecksReply) -> None:
    state.checks = list(message.checks)


def _live(state: ViewModel, message: LiveMoveNotice) -> None:
    state.live = message if message.on else None
    if not message.on and message.words:
        state.say("live", message.words)


def _setup(state: ViewModel, message: SetupNotice) -> None:
    goes_on = message.on and message.phase in ("asking", "seen")
    state.setup = message if goes_on else None
    if message.phase == "kept":
        state.finished_setups = state.finished_setups | {message.what}
    if not goes_on and message.words:
        state.say("learn", message.words, bad=message.phase == "failed")


def _cables(state: ViewModel, message: Cables) -> None:
    """Numbers of cables that nothing is known of yet; the one that moves is the one
    that is looked at."""
    state.ports = cable_views(state.ports, message.cables, state.clock())
    for port, one in state.ports.items():
        if one.way() != "still" and not one.grows:
            state.moving_port = port
            break


# ---- passes --------------------------------------------------------------------------


def _points(state: ViewModel, message: Points) -> None:
    running, placement = state.running_pass, state.current_prompt.placement or ""
    if running is None or running.sweep != message.sweep:
        state.running_pass = running = PassView(message.sweep, placement)
    running.add(message.travel, message.reading)


def _pass(state: ViewModel, message: PassNotice) -> None:
    if message.state == "running":
        state.running_pass = PassView(message.sweep, message.placement)
        return
    state.notices.over("pass", bad=False)  # what was said of the one before
    others = [p for p in state.passes if p.sweep != message.sweep]
    if message.state in ("kept", "measured", "back"):
        line = state.running_pass
        if line is None or line.sweep != message.sweep:
            line = PassView(message.sweep, message.placement)
        line.push = message.push
        state.passes, state.running_pass = [*others, line][-DRAWN_PASSES:], None
    else:
        state.running_pass = None if message.state == "refused" else state.running_pass
        state.passes = others
    counted = any(one.code in COUNT_REMARKS for one in message.remarks)
    if message.words and not counted:
        bad = message.state == "refused" or not message.recorded
        state.say("pass", message.words, bad=bad)


def _fitted(state: ViewModel, message: FittedPass) -> None:
    fitted = PassView.of(message)
    state.passes = [fitted if p.sweep == fitted.sweep else p for p in state.passes]


def _mark(state: ViewModel, message: MarkNotice) -> None:
    if message.at is not None:
        if state.running_pass is None or message.number == 1:
            state.running_pass = PassView("marks", message.placement)
        state.running_pass.add([message.at], [message.value])
    number, of, words = message.number, message.of, message.words
    state.say("mark", screen_text("mark", number=number, of=of, words=words))


_QUICK: dict[type, Change] = {Readings: "number", Points: "pass", FittedPass: "pass"}
# by the type of the message
_FOLDS: dict[type, Callable[[ViewModel, Any], bool | None]] = {
    Readings: _readings,
    Points: _points,
    PromptChanged: _prompt_changed,
    PassNotice: _pass,
    MarkNotice: _mark,
    InstrumentState: _instrument,
    StatusReply: _status,
    Version: _version,
    FittedPass: _fitted,
    FindingNotice: _concluded,
    Document: _document,
    NoFinding: _not_concluded,
    Notice: _notice,
    Error: _error,
    Done: _done,
    RejectedFrame: _rejected,
    Recording: _recording,
    SavedNotice: _saved,
    LogRows: _rows,
    GearReply: _gear,
    ChecksReply: _kinds,
    LiveMoveNotice: _live,
    SetupNotice: _setup,
    Cables: _cables,
}
