"""One row: the state in words, and how far the check, the live move or the guide is."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.glyphs import GlyphSet
from bench.console.text import Block, Line, fit, justify, width
from bench.console.widgets.drawing import Drawing
from bench.protocol import Finding
from bench.render.finding import MOVED_WRONG
from bench.render.result import diagnosis, name

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
    "mark": "mark",
    "spot": "touch",
    "width": "measure",
    "working-out": "working it out",
    "done": "done",
}
_STAGES: dict[first_start.Stage, tuple[str, str]] = {
    "indicator": ("FIND", "the indicator"),
    "travel": ("FIND", "the travel"),
    "leaf": ("PROVE", "unit and direction"),
    "sled": ("NEW", "the sled"),
}


class StateLine(Drawing):
    watches = frozenset({"ask", "live", "result", "health", "gear", "past"})

    def draw(self, wide: int, high: int) -> Block:
        view, g = self.view, self.glyphs
        if not view.here:
            line: Line = [(f" {g.bad} NO DAEMON ", "bad"), (view.away_words, "text")]
            return [fit(line, wide)]
        if view.live is not None:
            phase = _LIVE.get(view.live.phase, "set up")
            return [[(f" {g.right_mark} LIVE ", "act"), (phase, "strong")]]
        stage = first_start.stage_now(view, self.host.guide)
        if stage is not None and view.ask is None:
            return [self._stage(stage, wide)]
        if view.ask is not None and view.check is not None:
            return [self._progress(wide)]
        if view.finding is None:
            return [[(f" {g.none} NEW ", "strong"), ("nothing measured yet", "text")]]
        return [verdict_row(view.finding, self.glyphs, wide)]

    def _stage(self, stage: first_start.Stage, wide: int) -> Line:
        g, view = self.glyphs, self.view
        word, what = _STAGES[stage]
        sign, role = g.unsure, "unsure"
        if view.learn is not None and view.learn.phase == "seen" and stage != "leaf":
            sign, word, role = g.good, "SEEN", "good"
        line: Line = [(f" {sign} {word} ", role), (what, "strong")]  # type: ignore[list-item]
        if first_start.guided(view, self.host.guide):
            stages = first_start.STAGES
            count = f"{stages.index(stage) + 1} of {len(stages)} "
            return justify(line, [(count, "faint")], wide)
        return line

    def _progress(self, wide: int) -> Line:
        g, ask = self.glyphs, self.view.ask
        assert ask is not None and self.view.check is not None
        sign, word, role = g.unsure, _PHASES.get(ask.phase, ask.phase).upper(), "unsure"
        if ask.moving:
            sign, word, role = g.right_mark, "MOVING", "act"
        elif ask.waiting:
            word = "HOLD STILL"
        elif ask.ready:
            sign, word, role = g.right_mark, "READY", "good"
        line: Line = [(f" {sign} {word} ", role)]  # type: ignore[list-item]
        if ask.wanted and ask.phase != "cautions":
            done = g.good * min(ask.taken, 9) + g.none * min(ask.wanted - ask.taken, 9)
            line.append((f"{ask.taken} of {ask.wanted} kept {done} ", "strong"))
        parts: Line = []
        if ask.mark is not None and ask.marks is not None:
            parts.append((f"mark {ask.mark} of {ask.marks} ", "strong"))
        elif ask.steps > 1 and ask.step:
            parts.append((f"set-up {ask.step} of {ask.steps} ", "text"))
        parts.append((name(self.view.check), "faint"))
        if self.view.verifies:
            parts.append((", after the move", "faint"))
        return as_fits(line, parts, wide)


def verdict_row(finding: Finding, glyphs: GlyphSet, wide: int) -> Line:
    """Sign and verdict, what went wrong with a move, the check, the sled, the day."""
    sign, words, role = readout.verdict_line(finding.verdict, glyphs)
    wrong = diagnosis(finding)
    if wrong is not None:  # of the move, before all else
        words = f"{words}: {MOVED_WRONG[wrong.code]}"
    parts: Line = [(name(finding.check), "strong")]
    if finding.jig:
        parts.append((f", {finding.jig}", "strong"))
    parts.append((f"  {finding.at[:16].replace('T', ' ')}", "faint"))
    return as_fits([(f" {sign} {words.upper()} ", role)], parts, wide)


def as_fits(line: Line, parts: Line, wide: int) -> Line:
    """The line with those parts behind it that go in whole."""
    for part in parts:
        if width(line) + len(part[0].rstrip()) <= wide:
            line = [*line, part]
    return fit(line, wide)
