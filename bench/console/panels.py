"""The parts of the working screen: status, progress of the check, notices.

Each takes what is known, the width and the height, and gives that many rows.
"""

from __future__ import annotations

from bench.console import first_start, first_start_view, readout
from bench.console.instrument_view import STATES, InstrumentView
from bench.console.navigation import Navigation
from bench.console.text import (
    Block,
    Line,
    Role,
    cut,
    fit,
    fit_height,
    justify,
    plain,
    width,
    wrap,
)
from bench.console.view_model import ViewModel
from bench.render.finding import MOVED_WRONG
from bench.render.result import diagnosis, name

_BAR: dict[Role, Role] = {"good": "bar-good", "bad": "bar-bad", "unsure": "bar-unsure"}
_SPOILED = {"hold": "on hold, MAX, MIN", "missed_edge": "missed an edge"}


def health(instrument: InstrumentView, now: float) -> tuple[str, Role]:
    """One instrument in two or three words, and whether that is good."""
    words = STATES.get(instrument.state, instrument.state)
    if instrument.state == "open":
        if instrument.spoiled:
            return _SPOILED.get(instrument.spoiled, instrument.spoiled), "bad"
        if instrument.at is None:
            return "waits for a reading", "unsure"
        if not instrument.fresh(now):
            return f"read {readout.age(now - instrument.at)}", "unsure"
    if instrument.state in ("open", "marks"):
        return words, "good"
    return words, "bad"


def status_strip(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """The top line: which sled on which saw, and how the instruments do."""
    g = navigation.glyphs
    jig = state.the_jig or "no sled yet"
    jig_gear = state.jig_gear()
    saw = state.saw or (jig_gear.saw if jig_gear is not None else None)
    left: Line = [(" " + jig, "bar")]
    if saw and wide >= 60:
        left.append((f" on {saw}", "bar"))
    right = _health_run(state, navigation, wide - len(plain(left)) - 2)
    if state.here and state.recording != "recording":
        saving = state.log_state == "saving"
        right = [
            (
                ("saving ... ", "bar-unsure")
                if saving
                else (f"{g.bad} NOT RECORDED ", "bar-bad")
            ),
            *right,
        ]
    return [justify(left, right, wide, "bar")]


def _health_run(state: ViewModel, navigation: Navigation, room: int) -> Line:
    g, now = navigation.glyphs, state.clock()
    if not state.here:
        return [(f"{g.bad} no daemon ", "bar-bad")]
    if first_start.bare(state):
        count = sum(one.live for one in state.ports.values())
        words = (
            f"{count} cable{'s' if count > 1 else ''} heard"
            if count
            else "no instrument"
        )
        return [(f"{g.unsure} {words} ", "bar-unsure")]
    told: Line = []
    worst: Line = [(f"{g.reads} all read ", "bar-good")]
    for instrument in state.instruments.values():
        words, role = health(instrument, now)
        sign = g.reads if role == "good" else g.troubled if role == "bad" else g.unsure
        told.append((f"{sign} {instrument.name} {words}  ", _BAR[role]))
        if role != "good":
            worst = [(f"{sign} {instrument.name} {words} ", _BAR[role])]
    return told if width(told) <= room else worst


_LIVE: dict[str, str] = {
    "stand": "set it up",
    "lean": "lean test",
    "go": "move it",
    "tighten": "tighten",
    "end": "moved",
}
_PHASES = {
    "cautions": "read first",
    "place": "set up",
    "lean": "lean test",
    "tap": "tap test",
    "sweep": "push",
    "mark": "mark",
    "spot": "touch",
    "width": "measure",
    "working-out": "working it out",
    "done": "done",
}


def progress_line(state: ViewModel, navigation: Navigation, wide: int) -> Block:
    """One row: the state in words, and how far the check is."""
    g = navigation.glyphs
    ask = state.ask
    if not state.here:
        return [
            fit(
                [(f" {g.bad} NO DAEMON ", "bad"), (" " + state.away_words, "text")],
                wide,
            )
        ]
    if state.live is not None:
        phase = _LIVE.get(state.live.phase, "set up")
        return [fit([(f" {g.right_mark} LIVE ", "act"), (phase, "strong")], wide)]
    if state.learn is not None or (
        ask is None and first_start.next_stage(state, navigation) is not None
    ):
        return first_start_view.progress_line(state, navigation, wide)
    if ask is not None and state.check is not None:
        return [_progress(state, navigation, wide)]
    finding = state.finding
    if finding is None:
        return [
            fit([(f" {g.none} NEW ", "strong"), ("nothing measured yet", "text")], wide)
        ]
    sign, words, role = readout.verdict_line(finding.verdict, g)
    wrong = diagnosis(finding)
    if wrong is not None:  # of the move, before all else
        words = f"{words}: {MOVED_WRONG[wrong.code]}"
    parts: Line = [(name(finding.check), "strong")]
    if finding.jig:
        parts.append((f", {finding.jig}", "strong"))
    parts.append((f"  {finding.at[:16].replace('T', ' ')}", "faint"))
    return [_as_fits([(f" {sign} {words.upper()} ", role)], parts, wide)]


def _as_fits(line: Line, parts: Line, wide: int) -> Line:
    """The line with those parts behind it that go in whole."""
    for part in parts:
        if width(line) + len(part[0].rstrip()) <= wide:
            line = [*line, part]
    return fit(line, wide)


def _progress(state: ViewModel, navigation: Navigation, wide: int) -> Line:
    g, ask = navigation.glyphs, state.ask
    assert ask is not None and state.check is not None
    phase = _PHASES.get(ask.phase, ask.phase)
    if ask.moving:
        sign, word, role = g.right_mark, "MOVING", "act"
    elif ask.waiting:
        sign, word, role = g.unsure, "HOLD STILL", "unsure"
    elif ask.ready:
        sign, word, role = g.right_mark, "READY", "good"
    elif ask.enter:
        sign, word, role = g.unsure, phase.upper(), "unsure"
    else:
        sign, word, role = (
            g.unsure,
            "WAIT" if ask.phase == "sweep" else phase.upper(),
            "unsure",
        )
    line: Line = [(f" {sign} {word} ", role)]  # type: ignore[list-item]
    if ask.wanted and ask.phase not in ("cautions",):
        done = g.good * min(ask.taken, 9) + g.none * min(
            max(0, ask.wanted - ask.taken), 9
        )
        line.append((f"{ask.taken} of {ask.wanted} kept {done} ", "strong"))
    parts: Line = []
    if ask.mark is not None and ask.marks is not None:
        parts.append((f"mark {ask.mark} of {ask.marks} ", "strong"))
    elif ask.steps > 1 and ask.step:
        parts.append((f"set-up {ask.step} of {ask.steps} ", "text"))
    parts.append((name(state.check), "faint"))
    if state.verifies:
        parts.append((", after the move", "faint"))
    return _as_fits(line, parts, wide)


def tip_lines(words: str, wide: int) -> Block:
    """A line of whoever built the screen; two rows at the most."""
    return (
        [[(" ", "text"), *line] for line in wrap(words, wide - 2, "unsure")[:2]]
        if words
        else []
    )


def is_loud(state: ViewModel, wide: int) -> bool:
    """Whether the last thing said is bad news that one row would cut."""
    last = state.notices[-1]
    return last.bad and len(wrap(last.words, wide - 4)) > 1


def notice_panel(
    state: ViewModel, navigation: Navigation, wide: int, rows: int, told: str = ""
) -> Block:
    """What was said last, newest at the bottom; a sentence that does not fit is cut.
    Above it the tip; where there is no room for both, bad news goes before the tip and
    the tip before the rest."""
    lesson = tip_lines(told, wide)
    if lesson and rows > len(lesson):
        return [*lesson, *notice_panel(state, navigation, wide, rows - len(lesson))]
    if lesson and not (state.notices and state.notices[-1].bad):
        return fit_height(lesson, rows)
    g = navigation.glyphs
    out: Block = []
    remark = state.ask.remark if state.ask is not None else None
    for sentence in reversed(state.notices):
        if sentence.words == remark:
            continue  # the guide says it already
        sign = g.bad if sentence.bad else " "
        role: Role = "bad" if sentence.bad else "faint" if out else "text"
        block = wrap(sentence.words, wide - 4, role)
        room = rows - len(out)
        if room <= 0:
            break
        if len(block) > room:
            if out:
                break
            kept = block[:room]
            kept[-1] = [
                (cut(plain(kept[-1]) + " " + plain(block[room]), wide - 4), role)
            ]
            block = kept
        out = [
            [(f" {sign if n == 0 else ' '} ", role), *line]
            for n, line in enumerate(block)
        ] + out
    return fit_height([*([] for _ in range(rows - len(out))), *out], rows)
