"""The middle of the screen at rest: the sled's last result, or how to begin."""

from __future__ import annotations

from bench.console.navigation import Navigation
from bench.console.plot import plot, scale
from bench.console.readout import verdict_sign
from bench.console.result_drawing import LEAST_HIGH, draw_result, has_drawing
from bench.console.sleds import seen_from_above
from bench.console.text import (
    Block,
    Line,
    Role,
    fit,
    fit_height,
    side_by_side,
    wrap,
    wrap_marked,
)
from bench.console.view_model import ViewModel
from bench.protocol import Finding
from bench.render import result as words
from bench.render.remarks import notes_of, remark_words, said_first
from bench.render.result import diagnosis
from bench.units import length_words

WIDE = 100  # columns from which budget and earlier results stand beside the result


def content(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    """The last result; on a wide screen its passes, the sled, earlier results too."""
    finding = state.finding
    if finding is None:
        return _nothing(state, wide)
    if wide < WIDE:
        return result(state, finding, navigation, wide, high)
    left = wide * 3 // 5
    out = result(state, finding, navigation, left, high)
    spare = high - len(out)
    line = plot(
        None,
        state.passes,
        left - 6,
        min(16, spare - 12),
        navigation.glyphs,
        state.units,
    )
    if line:
        out += [[], [("  The passes of this check", "strong")], *_indented(line)]
    jig = state.jig_gear(finding.jig)
    if jig is not None and high - len(out) >= 9:
        title = f"{jig.name} seen from above, you stand at the bottom"
        drawn = seen_from_above(jig, navigation.glyphs, min(left - 4, 90), title)
        out += [[], *([(" ", "text"), *row] for row in drawn)]
    side = _side(state, finding, navigation, wide - left - 3, high)
    return side_by_side(fit_height(out, high), left, side, 2)


def _nothing(state: ViewModel, wide: int) -> Block:
    """First start: numbers are live already; one sentence of what to do."""
    if not state.here:
        sentences = [
            "The screen waits for the daemon: `sweepgauge daemon` starts one,"
            " `sweepgauge demo` pretends a saw."
        ]
    elif not state.instruments or all(
        i.state == "marks" for i in state.instruments.values()
    ):
        sentences = ["No indicator is known yet: plug its cable in, then Enter."]
    elif state.gear is not None and not state.gear.jigs:
        sentences = [
            "No sled yet: 7 sets one up. `sweepgauge demo` tries it all on a pretend"
            " saw."
        ]
    else:
        sentences = ["Nothing measured yet on this sled.", "1 begins a check."]
    return [
        line
        for sentence in sentences
        for line in wrap_marked(sentence, wide - 2, "   ", "act")
    ]


def result(
    state: ViewModel, finding: Finding, navigation: Navigation, wide: int, high: int
) -> Block:
    """What is, how much, what to do; the rest as far as there is room."""
    board = state.board(finding)
    act = _act(state, finding, navigation, wide - 4)
    # asked for: the drawing in place of all but the act
    if navigation.picture and has_drawing(finding):
        drawn = draw_result(
            finding, wide - 4, high - len(act), navigation.glyphs, state.units
        )
        return _indented([*act, *drawn])[:high]
    close = finding.verdict == "cannot-tell"
    what = _what_is(state, finding, navigation, wide - 4)
    if high < len(act) + len(what):
        short = words.in_short(finding, state.units, board)
        role: Role = "bad" if words.danger(finding, state.units) else "strong"
        what = wrap(short, wide - 4, role)[: max(1, high - len(act))]
        return _indented([*act, *what] if close else [*what, *act])[:high]
    bar = _interval(finding, navigation, min(wide - 4, 64))
    room = high - len(act) - len(what) - len(bar)
    # of two drawings the result's own
    if room < (LEAST_HIGH if has_drawing(finding) else 1):
        bar = []
    # what would settle it comes before what it seems to be
    block = [*act, *what, *bar] if close else [*what, *bar, *act]
    block += draw_result(
        finding, min(wide - 4, 90), high - len(block), navigation.glyphs, state.units
    )
    if high > len(block) + 1:
        block += _further(state, finding, wide - 4)
    return _indented(block)[:high]


def _indented(block: Block) -> Block:
    return [[("  ", "text"), *line] for line in block]


def _what_is(
    state: ViewModel, finding: Finding, navigation: Navigation, wide: int
) -> Block:
    """The danger, what went wrong with a move, and the result itself."""
    out: Block = []
    said = words.headline(finding, state.units, state.board(finding))
    if said.danger is not None:
        out += wrap_marked(said.danger, wide, f"{navigation.glyphs.bad} ", "bad")
    wrong = diagnosis(finding)
    if wrong is not None:
        told = remark_words(wrong, state.units)
        out += wrap_marked(told, wide, f"{navigation.glyphs.bad} ", "bad")
    for text in said.lead:
        out += wrap(text, wide, "strong")
    for text in said.small:
        out += wrap(text, wide, "faint")
    return out


def _act(
    state: ViewModel, finding: Finding, navigation: Navigation, wide: int
) -> Block:
    """What to do now."""
    moved = (
        state.moves.get(finding.id) in ("made", "verified")
        or navigation.verifies == finding.id
    )
    if finding.proposed is not None and moved:
        return [[("The move is noted. ", "good"), ("Check again.", "act")]]
    text = words.next_act(finding, state.units)
    return wrap_marked(text, wide, f"{navigation.glyphs.right_mark} ", "act")


def _further(state: ViewModel, finding: Finding, wide: int) -> Block:
    """Leaves, other quantities, what limits it most, remarks."""
    out: Block = []
    if finding.proposed is not None:
        jig = state.jig_gear(finding.jig)
        for text in words.leaves(finding.proposed, jig, state.units):
            out += wrap(text, wide, "text")
    for text in words.others(finding, state.units):
        out += wrap(text, wide, "faint")
    if finding.budget:
        most = words.name(finding.budget[0].part)
        out += wrap(f"Limits it most: {most}.", wide, "faint")
    shown = diagnosis(finding) or said_first(finding)
    for note in notes_of(finding, state.units, but=shown):
        out += wrap(note, wide, "faint", indent=2)
    return out


def _interval(finding: Finding, navigation: Navigation, wide: int) -> Block:
    """The value with its give or take on a line, and where good enough ends."""
    q = words.judged(finding)
    if wide < 24 or not q.uncertainty:
        return []
    way = (q.way or "").partition(",")[0]
    other = words.opposite(way)
    opening = words.opening(finding)
    if opening is not None:  # good is to open a little, not to close
        return scale(
            opening,
            q.uncertainty,
            q.tolerance,
            wide,
            navigation.glyphs,
            ("closes", "opens"),
            one_sided=True,
        )
    if other == way:  # a size: there is no other way
        ends = ("none", "much")
        size = abs(q.value)
        return scale(
            size, q.uncertainty, q.tolerance, wide, navigation.glyphs, ends, least=0.0
        )
    ends = ("one way", "the other")
    if len(way) * 2 + 6 <= wide:
        ends = (other, way) if q.value > 0 else (way, other)
    return scale(q.value, q.uncertainty, q.tolerance, wide, navigation.glyphs, ends)


def _side(
    state: ViewModel, finding: Finding, navigation: Navigation, wide: int, high: int
) -> Block:
    """On a wide screen: what limits the result, and the results before it."""
    out: Block = [
        [("What limits it", "strong")],
        *limits(state, finding, navigation, wide, max(4, high // 2 - 2)),
        [],
    ]
    board = state.board(finding)
    head: Line = [("Results before", "strong")]
    if board is not None:
        across = length_words(board, state.units)
        head.append((f"  (sled fence across {across})", "faint"))
    out.append(head)
    for past in state.past_findings[: max(0, high - len(out))]:
        sign = verdict_sign(past.verdict, navigation.glyphs)
        text = words.row(past, state.units, state.board(past), sign)
        out.append(fit([(text, "text")], wide))
    return out


def limits(
    state: ViewModel, finding: Finding, navigation: Navigation, wide: int, high: int
) -> Block:
    """The ranked budget: part, share as a bar and in per cent, size."""
    unit = finding.quantities[0].unit if finding.quantities else "mm"
    board = state.board(finding)
    out: Block = []
    longest = max((len(words.name(r.part)) for r in finding.budget), default=0)
    names = min(longest, max(12, wide - 26))
    bar_room = max(0, min(24, wide - names - 20))
    for row in sorted(finding.budget, key=lambda r: -r.share)[:high]:
        name = words.name(row.part)
        much = words.part_size(row.standard_uncertainty, unit, state.units, board)
        bar = navigation.glyphs.lower * round(row.share * bar_room)
        out.append(
            fit(
                [
                    (f"{name[:names]:<{names}} {row.share:4.0%} ", "text"),
                    (f"{bar:<{bar_room}} ", "dot"),
                    (much, "faint"),
                ],
                wide,
            )
        )
    return out
