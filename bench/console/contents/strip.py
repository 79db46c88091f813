"""The rows that say how things stand: the strip at the top, the state, the numbers."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Block, Line, Role, fit, justify, width
from bench.console.instrument_view import STATE_WORDS, InstrumentView
from bench.console.view_model import ViewModel
from bench.console.widgets.viewer import Viewer
from bench.protocol import Finding, Prompt
from bench.render.finding import MOVED_WRONG
from bench.render.names import spaced
from bench.render.result import diagnosis

_BAR: dict[Role, Role] = {"good": "bar-good", "bad": "bar-bad", "unsure": "bar-unsure"}
_SPOILED = {"hold": "on hold, MAX, MIN", "missed_edge": "missed an edge"}
_LIVE = {
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
    "sweep": "wait",
    "spot": "touch",
    "width": "measure",
    "working-out": "wait",
}
_STAGES: dict[first_start.Stage, tuple[str, str]] = {
    "indicator": ("FIND", "the indicator"),
    "travel": ("FIND", "the travel"),
    "leaf": ("PROVE", "unit and direction"),
    "sled": ("NEW", "the sled"),
}
ROOM_FOR_SAW = 60  # columns from which the saw stands behind the sled


def health(instrument: InstrumentView, now: float) -> tuple[str, Role]:
    """One instrument in two or three words, and whether that is good."""
    if instrument.state == "open":
        if instrument.spoiled:
            return _SPOILED.get(instrument.spoiled, instrument.spoiled), "bad"
        if instrument.at is None:
            return "waits for a reading", "unsure"
        if not instrument.fresh(now):
            return f"read {readout.age(now - instrument.at)}", "unsure"
    words = STATE_WORDS.get(instrument.state, instrument.state)
    return words, "good" if instrument.state in ("open", "marks") else "bad"


def status_strip(v: Viewer, wide: int, high: int) -> Block:
    """The sled and its saw, the state of the instruments and of the log."""
    view, g = v.view, v.glyphs
    jig = view.find_jig()
    saw = view.saw or (jig.saw if jig is not None else None)
    left: Line = [(" " + (view.current_jig or "no sled yet"), "bar")]
    if saw and wide >= ROOM_FOR_SAW:
        left.append((f" on {saw}", "bar"))
    right = _health(view, g, wide - width(left) - 2)
    if view.online and view.log_state == "saving":
        right = [("saving ... ", "bar-unsure"), *right]
    elif view.online and view.log_state == "not-recorded":
        right = [(f"{g.bad} NOT RECORDED ", "bar-bad"), *right]
    return [justify(left, right, wide, "bar")]


def _health(view: ViewModel, g: GlyphSet, room: int) -> Line:
    if not view.online:
        return [(f"{g.bad} no daemon ", "bar-bad")]
    if first_start.nothing_set_up(view):
        count = sum(one.live for one in view.ports.values())
        words = f"{count} cable{'s' * (count > 1)} heard"
        return [(f"{g.unsure} {words if count else 'no instrument'} ", "bar-unsure")]
    told: Line = []
    worst: Line = [(f"{g.reads} all read ", "bar-good")]
    for instrument in view.instruments.values():
        words, role = health(instrument, view.clock())
        sign = {"good": g.reads, "bad": g.bad}.get(role, g.unsure)
        one = f"{sign} {instrument.name} {words} "
        told.append((one + " ", _BAR[role]))
        worst = worst if role == "good" else [(one, _BAR[role])]
    return told if width(told) <= room else worst


def state_line(v: Viewer, wide: int, high: int) -> Block:
    """The state in words, and how far the check, the live move or the guide is."""
    view, g = v.view, v.glyphs
    if not view.online:
        return [fit([(f" {g.bad} NO DAEMON ", "bad"), (view.away_words, "text")], wide)]
    if view.live is not None:
        phase = _LIVE.get(view.live.phase, "set up")
        return [[(f" {g.right_mark} LIVE ", "act"), (phase, "strong")]]
    stage = first_start.stage_now(view, v.host.guide)
    if stage is not None and view.prompt is None:
        return [_stage(v, stage, wide)]
    if view.prompt is not None and view.check is not None:
        return [_progress(view, view.prompt, view.check, g, wide)]
    if view.finding is None:
        return [
            [
                (f" {g.none} NEW ", "strong"),
                ("nothing measured yet on this sled", "text"),
            ]
        ]
    if v.requests.moved:
        line: Line = [(f" {g.unsure} CHECK AGAIN ", "unsure")]
        after = f" after the result of {_minute(view.finding)}"
        return [append_fitting(line, [("moved", "strong"), (after, "text")], wide)]
    return [verdict_row(view.finding, g, wide)]


def _stage(v: Viewer, stage: first_start.Stage, wide: int) -> Line:
    view, g = v.view, v.glyphs
    word, what = _STAGES[stage]
    line: Line = [(f" {g.unsure} {word} ", "unsure"), (what, "strong")]
    if view.setup is not None and view.setup.phase == "seen" and stage != "leaf":
        line[0] = (f" {g.good} SEEN ", "good")
    if first_start.is_guided(view, v.host.guide):
        stages = first_start.STAGES
        count = f"step {stages.index(stage) + 1} of {len(stages)} "
        return justify(line, [(count, "faint")], wide)
    return line


def _progress(
    view: ViewModel, prompt: Prompt, check: str, g: GlyphSet, wide: int
) -> Line:
    word = _PHASES.get(prompt.phase, spaced(prompt.phase)).upper()
    line: Line = [(f" {g.unsure} {word} ", "unsure")]
    if view.trouble and prompt.phase != "cautions":
        line = [(f" {g.bad} NO READING ", "bad")]
    elif prompt.moving:
        line = [(f" {g.right_mark} MOVING ", "act")]
    elif prompt.waiting:
        line = [(f" {g.unsure} HOLD STILL ", "unsure")]
    elif prompt.ready:
        line = [(f" {g.right_mark} READY ", "good")]
    # a reading a set-up
    one = prompt.wanted == 1 and prompt.gather in ("spot", "width")
    if prompt.wanted and not one and prompt.phase != "cautions":
        done = g.good * min(prompt.taken, 9) + g.none * min(
            prompt.wanted - prompt.taken, 9
        )
        line.append((f"{prompt.taken} of {prompt.wanted} kept {done} ", "strong"))
    parts: Line = []
    if prompt.mark is not None and prompt.marks is not None:
        parts.append((f"mark {prompt.mark} of {prompt.marks} ", "strong"))
    elif prompt.steps > 1 and prompt.step:
        what = "reading" if one else "set-up"
        parts.append((f"{what} {prompt.step} of {prompt.steps} ", "text"))
    parts.append((spaced(check), "faint"))
    if view.verifies:
        parts.append((", after the move", "faint"))
    return append_fitting(line, parts, wide)


def verdict_row(finding: Finding, glyphs: GlyphSet, wide: int) -> Line:
    """Sign and verdict, what went wrong with a move, the check, the sled, the day."""
    sign, words, role = readout.verdict_line(finding.verdict, glyphs)
    wrong = diagnosis(finding)
    if wrong is not None:  # of the move, before all else
        words = f"{words}: {MOVED_WRONG[wrong.code]}"
    parts: Line = [(spaced(finding.check), "strong")]
    if finding.jig:
        parts.append((f", {finding.jig}", "strong"))
    parts.append((f"  {_minute(finding)}", "faint"))
    return append_fitting([(f" {sign} {words.upper()} ", role)], parts, wide)


def _minute(finding: Finding) -> str:
    return finding.at[:16].replace("T", " ")


def readout_row(v: Viewer, wide: int, high: int) -> Block:
    """The live numbers in one row, while the large figure is another."""
    view, shown = v.view, v.view.shown
    if shown is None or not view.online or not shown.live:
        return []
    text, unit = readout.number(shown, view.units)
    age = view.clock() - shown.at if shown.at is not None else 0.0
    way = shown.way() if shown.fresh(view.clock()) else readout.age(age)
    line: Line = [(f" now {text} {unit} {shown.name}", "text"), (f", {way}", "faint")]
    parts = [(f", {text}", role) for ((text, role),) in travel_lines(view)]
    return [append_fitting(line, parts, wide)]


def travel_lines(view: ViewModel) -> Block:
    """The travel's number, and the way in which it changes."""
    for one in view.instruments.values():
        if one.role == "travel" and one.live and view.online:
            far = readout.travel_number(one, view.units)
            way = one.way(view.current_prompt.runs)
            return [[(f"travel {far}", "faint")], [(way, "faint")]]
    return []


def append_fitting(line: Line, parts: Line, wide: int) -> Line:
    """The line with those parts behind it that go in whole."""
    for text, role in parts:
        left = wide - width(line)
        shown = text if len(text) <= left else text.rstrip()
        if len(shown) <= left:
            line = [*line, (shown, role)]
    return fit(line, wide)
