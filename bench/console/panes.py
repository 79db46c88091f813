"""The bands of the working screen: strip, number, where we are, what to do, what was
said last. Pure.

Each takes what is known, how wide and how high, and gives exactly that many rows.
"""

from __future__ import annotations

from bench.console import first_start, phrases
from bench.console.figures import ROWS, columns, figures
from bench.console.heard import Heard
from bench.console.state import State
from bench.console.text import (
    Block,
    Line,
    Role,
    cut,
    fit,
    plain,
    spread,
    tall,
    width,
    wrap,
)
from bench.console.view import View
from bench.render.finding import MOVED_WRONG

ASIDE = 17  # columns beside the number for unit, way and travel

_BAR: dict[Role, Role] = {"good": "bar-good", "bad": "bar-bad", "unsure": "bar-unsure"}
_SPOILED = {"hold": "on hold, MAX, MIN", "missed_edge": "missed an edge"}
_STATES: dict[str, str] = {
    "open": "reads",
    "absent": "not plugged in",
    "busy": "port in use",
    "denied": "no permission",
    "silent": "silent",
    "no-reading": "has no reading",
    "garbled": "garbled",
    "flooding": "flooding",
    "marks": "by marks",
}


def health(heard: Heard, now: float) -> tuple[str, Role]:
    """One instrument in two or three words, and whether that is good."""
    words = _STATES.get(heard.state, heard.state)
    if heard.state == "open":
        if heard.spoiled:
            return _SPOILED.get(heard.spoiled, heard.spoiled), "bad"
        if heard.at is None:
            return "waits for a reading", "unsure"
        if not heard.fresh(now):
            return f"read {phrases.age(now - heard.at)}", "unsure"
    if heard.state in ("open", "marks"):
        return words, "good"
    return words, "bad"


def strip(state: State, view: View, wide: int) -> Block:
    """The top line: which sled on which saw, and how the instruments do."""
    g = view.glyphs
    jig = state.the_jig or "no sled yet"
    jig_gear = state.jig_gear()
    saw = state.saw or (jig_gear.saw if jig_gear is not None else None)
    left: Line = [(" " + jig, "bar")]
    if saw and wide >= 60:
        left.append((f" on {saw}", "bar"))
    right = _health_run(state, view, wide - len(plain(left)) - 2)
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
    return [spread(left, right, wide, "bar")]


def _health_run(state: State, view: View, room: int) -> Line:
    g, now = view.glyphs, state.clock()
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
    for heard in state.instruments.values():
        words, role = health(heard, now)
        sign = g.reads if role == "good" else g.troubled if role == "bad" else g.unsure
        told.append((f"{sign} {heard.name} {words}  ", _BAR[role]))
        if role != "good":
            worst = [(f"{sign} {heard.name} {words} ", _BAR[role])]
    return told if width(told) <= room else worst


def number(state: State, view: View, wide: int, size: str) -> Block:
    """The live number large, with its unit and its way beside (or, where narrow, below:
    one row more)."""
    text, unit, way, role = _number(state)
    below = wide < 56
    aside = _aside(state, unit, way, role, room=wide - 12 if below else ASIDE - 2)
    if size == "row":
        return [[(f" {text} ", role), *_below(aside, wide - len(text) - 2)]]
    room = wide - 2 if below else wide - ASIDE - 1
    for name in (size, "large", "small"):
        if ROWS[name] <= ROWS[size] and columns(text, name) <= room:
            size = name
            break
    rows = figures(text, size, view.glyphs)
    block: Block = [[(" " + row.rjust(room), role)] for row in rows]
    if below:
        return [*block, _below(aside, wide)]
    return [
        [*line, ("  ", "text"), *aside[n]] if n < len(aside) else line
        for n, line in enumerate(block)
    ]


def _number(state: State) -> tuple[str, str, str, Role]:
    """Figures, unit, way in words, role."""
    live = state.live
    if live is not None and live.to_go is not None and live.phase != "lean":
        text, unit = phrases.small(
            abs(live.to_go), live.uncertainty or 0.0, state.units
        )
        way = (
            "there"
            if live.there
            else f"{live.end} end {phrases.WAYS[live.way]}"
            if live.way
            else ""
        )
        return text, unit, way, "number"
    heard = state.shown
    if heard is None or not state.here:
        return "---", "", "no reading", "stale"
    text, unit = phrases.number(heard, state.units)
    if not heard.live or heard.value is None:
        return "---", unit, _STATES.get(heard.state, heard.state), "stale"
    if not heard.fresh(state.clock()):
        assert heard.at is not None
        return text, unit, phrases.age(state.clock() - heard.at), "stale"
    return text, unit, heard.way(), "number"


def _aside(
    state: State, unit: str, way: str, role: Role, *, room: int = ASIDE - 2
) -> list[Line]:
    """Unit, way (over as many lines as it takes), travel and its way."""
    heard = state.shown
    name = heard.name if heard is not None else ""
    if (
        state.live is not None
        and state.live.to_go is not None
        and state.live.phase != "lean"
    ):
        name = (
            "past it"
            if state.live.past
            else "wrong way"
            if state.live.wrong
            else "to go"
        )
    head = f"{unit} {name}".strip()
    lines: list[Line] = [[(head, "strong")]] if head else []
    loud: Role = "strong" if state.live is not None else "text"
    lines.extend(wrap(way, room, loud if role == "number" else "unsure")[:2])
    travel = next(
        (
            one
            for one in state.instruments.values()
            if one.role == "travel" and one.live
        ),
        None,
    )
    if travel is not None and state.here:
        text, unit = phrases.travelled(travel, state.units)
        lines.append([(f"travel {text} {unit}", "faint")])
        if len(lines) < 4:
            lines.append([(travel.way(), "faint")])
    return lines


def _below(parts: list[Line], wide: int) -> Line:
    """Unit and way in one row under the figures, or behind them."""
    line: Line = [(" ", "text")]
    for n, part in enumerate(parts):
        if n and width(line) + width(part) + 2 > wide:
            break
        line.extend([(", " if n else "", "faint"), *part])
    return fit(line, wide)


def number_rows(wide: int, size: str) -> int:
    return 1 if size == "row" else ROWS[size] + (1 if wide < 56 else 0)


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


def where(state: State, view: View, wide: int) -> Block:
    """One row: the state in words, and how far the check is."""
    g = view.glyphs
    ask = state.ask
    if not state.here:
        return [
            fit([(f" {g.bad} AWAY ", "bad"), (" " + state.away_words, "text")], wide)
        ]
    if state.live is not None:
        phase = _LIVE.get(state.live.phase, "set up")
        return [fit([(f" {g.right_mark} LIVE ", "act"), (phase, "strong")], wide)]
    if state.learn is not None or (
        ask is None and first_start.next_stage(state, view) is not None
    ):
        return first_start.where(state, view, wide)
    if ask is not None and state.check is not None:
        return [_progress(state, view, wide)]
    finding = state.finding
    if finding is None:
        return [
            fit([(f" {g.none} NEW ", "strong"), ("nothing measured yet", "text")], wide)
        ]
    sign, words, role = phrases.verdict(finding.verdict, g)
    wrong = phrases.diagnosis(finding)
    if wrong is not None:  # of the move, before all else
        words = f"{words}: {MOVED_WRONG[wrong.code]}"
    parts: Line = [(phrases.name(finding.check), "strong")]
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


def _progress(state: State, view: View, wide: int) -> Line:
    g, ask = view.glyphs, state.ask
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
    parts.append((phrases.name(state.check), "faint"))
    if state.verifies:
        parts.append((", after the move", "faint"))
    return _as_fits(line, parts, wide)


def tip(words: str, wide: int) -> Block:
    """A line of whoever built the screen; two rows at the most."""
    return (
        [[(" ", "text"), *line] for line in wrap(words, wide - 2, "unsure")[:2]]
        if words
        else []
    )


def is_loud(state: State, wide: int) -> bool:
    """Whether the last thing said is bad news that one row would cut."""
    last = state.notices[-1]
    return last.bad and len(wrap(last.words, wide - 4)) > 1


def said(state: State, view: View, wide: int, rows: int, told: str = "") -> Block:
    """What was said last, newest at the bottom; a sentence that does not fit is cut.
    Above it the tip; where there is no room for both, bad news goes before the tip and
    the tip before the rest."""
    lesson = tip(told, wide)
    if lesson and rows > len(lesson):
        return [*lesson, *said(state, view, wide, rows - len(lesson))]
    if lesson and not (state.notices and state.notices[-1].bad):
        return tall(lesson, rows)
    g = view.glyphs
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
    return tall([*([] for _ in range(rows - len(out))), *out], rows)
