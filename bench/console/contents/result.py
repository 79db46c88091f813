"""A result in words and pictures: the danger, what is, how much, and what to do.

A finding that is given is an earlier one; else it is the one that the screen is about.
"""

from __future__ import annotations

from bench.console.contents.strip import verdict_row
from bench.console.drawings.plot import scale
from bench.console.drawings.result import draw_result
from bench.console.drawings.styled_text import Block, Line, fit, wrap
from bench.console.host import LOW, TALL, Hosted
from bench.console.readout import verdict_line
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import Finding
from bench.render import result
from bench.render.finding import names_what_limits
from bench.render.names import LESSENS, part_name, spaced, upper_first
from bench.render.remarks import leading_remark, notes_of, remark_words
from bench.render.result import diagnosis
from bench.render.screen import screen_text
from bench.render.upkeep import due_lines
from bench.units import nominal_words

INTERVAL_COLUMNS = 64  # columns of the line with good enough
PRESSING_STATES = ("now", "never-checked")
CHANGE_REASONS = ("step", "trend")  # reasons that want an answer to what happened
MOST_DUE = 2  # rows beside a result; on a low screen only one
MOST_DUE_NEW = 6  # rows where nothing was found yet
BAR_COLUMNS = 60  # columns of the bars
OUTCOMES = {"made": "The move was made.", "verified": "The move was made, and proved."}


def _shown(v: Viewer, finding: Finding | None) -> Finding | None:
    found = finding or v.view.finding
    return found if found is not None and found.quantities else None


def due_words(v: Viewer) -> Sentences:
    """Dangers that still stand, then what is due for a check, most pressing first."""
    document, high, found = v.view.due, v.app.size.height, v.view.finding
    if found is not None and result.danger(found, v.view.units) is not None:
        return  # its danger goes first
    for danger in result.dangers(v.view.last, v.view.units):
        yield danger, "bad"
    if document is None or (high < LOW and found is not None):
        return  # the act that follows from the result goes first
    wanted = (*PRESSING_STATES, "soon") if high >= TALL else PRESSING_STATES
    rows = [row for row in document["due"] if row["state"] in wanted]
    rows.sort(key=lambda row: row["jig"] != v.view.current_jig)
    most = MOST_DUE if v.view.finding is not None else MOST_DUE_NEW
    for row in rows[: 1 if high < LOW else most]:
        (line,) = due_lines({"due": [row], "left_out": []})
        asks = " What happened? 9 answers it." * (row["reason"] in CHANGE_REASONS)
        yield line + asks, "unsure" if row["state"] == "now" else "faint"


def result_words(v: Viewer) -> Sentences:
    """The result and the next act. Too close to call begins with what would settle
    it."""
    finding = _shown(v, None)
    if finding is None:
        return _nothing(v)
    if v.app.size.height < LOW:
        return _shortly(v, finding)
    what, act = _what_is(v, finding, True), _act(v, finding)
    if finding.proposed is not None and v.requests.moved:
        return [act, *((text, "faint") for text, _ in what)]  # of before the move
    lead = 0 if finding.verdict == "cannot-tell" else _lead(what)
    return [*what[:lead], act, *what[lead:]]


def _lead(what: list[tuple[str, str]]) -> int:
    """The number of sentences that stand before those in small."""
    return sum(role != "faint" for _, role in what)


def past_words(v: Viewer, finding: Finding, *, beside: bool = False) -> Sentences:
    """An earlier result, and what became of its move. beside: its large figure stands
    there as well."""
    yield from _what_is(v, finding, beside)
    yield OUTCOMES.get(v.view.moves.get(finding.id, ""), ""), "text"


def _nothing(v: Viewer) -> Sentences:
    view = v.view
    if not view.online:
        words = "`sweepgauge daemon` starts one, `sweepgauge demo` pretends a saw."
        return [("The screen waits for the daemon.", "act"), (words, "text")]
    if view.gear is not None and not view.gear.jigs:
        return [("No sled yet: describe yours.", "act")]
    return [("Begin with a check, or with what is wrong.", "act")]


def _shortly(v: Viewer, finding: Finding) -> Sentences:
    """The danger, the act and the way, for a screen with little room."""
    view = v.view
    warns = result.danger(finding, view.units) is not None or diagnosis(finding)
    danger = _what_is(v, finding, True)[:1] if warns else []
    way = result.short_sentence(finding, view.units, view.board(finding))
    return [*danger, _act(v, finding), *([] if danger else [(way, "text")])]


def _what_is(v: Viewer, finding: Finding, beside: bool) -> list[tuple[str, str]]:
    view, bad = v.view, v.glyphs.bad
    board = view.board(finding)
    said = result.headline(finding, view.units, board, large=beside)
    out: list[tuple[str, str]] = []
    if said.danger is not None:
        out.append((f"{bad} {said.danger}", "bad"))
    wrong = diagnosis(finding)
    if wrong is not None:
        out.append((f"{bad} {remark_words(wrong, view.units)}", "bad"))
    out += [(text, "strong") for text in said.lead]
    return out + [(text, "faint") for text in said.small]


def _act(v: Viewer, finding: Finding) -> tuple[str, str]:
    """The next act."""
    if finding.proposed is not None and v.requests.moved:
        return "The move is noted. Check again.", "act"
    return f"{v.glyphs.right_mark} {result.next_act(finding, v.view.units)}", "act"


def further_words(v: Viewer, finding: Finding | None = None) -> Sentences:
    """Leaves, the other quantities, what limits it most, remarks."""
    found, view = _shown(v, finding), v.view
    low = v.app.size.height < LOW
    if found is None or (low and finding is None):
        return
    if found.proposed is not None and not v.requests.moved:
        jig = view.find_jig(found.jig)
        for text in result.leaves(found.proposed, jig, view.units):
            yield text, "text"
    for text in result.other_quantities(found, view.units):
        yield text, "faint"
    # bars say it as well, and so may the act above
    above = v.screen.has_class("-wide") or names_what_limits(found)
    if found.budget and not (finding is None and above):
        yield screen_text("limits", part=part_name(found.budget[0].part)), "faint"
    act = result.act_remark(found) if finding is None else None
    danger = result.danger_remark(found)
    shown = (diagnosis(found) or leading_remark(found), act, danger)
    for note in notes_of(found, view.units, but=shown):
        yield note, "faint"


def past_verdict(v: Viewer, wide: int, high: int, finding: Finding) -> Block:
    return [verdict_row(finding, v.glyphs, wide)]


def interval(v: Viewer, wide: int, high: int, finding: Finding | None = None) -> Block:
    """The result on a line: its value, its give or take, where good enough ends."""
    found, g = _shown(v, finding), v.glyphs
    if found is None:
        return []
    q, wide = result.judged(found), min(wide, INTERVAL_COLUMNS)
    if wide < 24 or not q.uncertainty:
        return []
    value, give, limit, least = q.value, q.uncertainty, q.tolerance, None
    good = (-limit, limit) if limit is not None else None
    opens = result.opening(found)
    way = (q.way or "").partition(",")[0]
    other = result.opposite(way)
    ends = (other, way) if value > 0 else (way, other)
    if opens is not None:  # good is to open a little, not to close
        value, ends = opens, ("closes", "opens")
        good = (0.0, limit) if limit is not None else None
    elif other == way:  # a size: there is no other way
        value, ends, least = abs(value), ("", ""), 0.0
    return scale(value, give, q.band or good, wide, g, ends, least=least)


def result_picture(
    v: Viewer, wide: int, high: int, finding: Finding | None = None
) -> Block:
    """The picture of a result, to scale, drawn from what it carries."""
    view = v.view
    found = _shown(v, finding) if view.online else finding
    if found is None:
        return []
    jig, board = view.find_jig(found.jig), view.board(found)
    drawn = draw_result(found, jig, board, wide, high, v.glyphs, view.units)
    if finding is None and v.requests.moved:  # it lies so no longer
        return [[(text, "faint") for text, _ in line] for line in drawn]
    return drawn


def budget_bars(v: Viewer, wide: int, high: int) -> Block:
    """The budget of the result, ranked: part, share as a bar and in per cent, size."""
    finding, units = v.view.finding, v.view.units
    if finding is None or not finding.budget:
        return []
    unit, board = "mm", v.view.board(finding)
    over = ""
    if finding.quantities:  # over the length of what is judged
        q = result.judged(finding)
        unit, over = q.unit, result.large_size(q, units, board)[1]
        board = q.over or board
    told_rows = [r for r in finding.budget if r.share >= result.LEAST_SHARE]
    rows = sorted(told_rows, key=lambda r: -r.share)[: high - 3]
    names = max(len(part_name(r.part)) for r in rows)
    sizes = [result.part_size(r.standard_uncertainty, unit, units, board) for r in rows]
    bar = max(0, min(BAR_COLUMNS, wide - names - 8 - max(map(len, sizes))))
    out: Block = [[("What limits the result", "strong")]]
    for row, size in zip(rows, sizes, strict=True):
        line: Line = [(f"{part_name(row.part):<{names}} {row.share:4.0%} ", "text")]
        filled = v.glyphs.lower * round(row.share * bar)
        line += [(f"{filled:<{bar}} ", "trace")] if bar > 3 else []
        out.append(fit([*line, (size, "faint")], wide))
    if over:
        out += [[("Give or take of each,", "faint")], [(f"{over}.", "faint")]]
    return out


def lessens(v: Viewer) -> Sentences:
    """What lessens the part that limits the result most."""
    budget = v.view.finding.budget if v.view.finding is not None else []
    most = max(budget, key=lambda row: row.share, default=None)
    if most is not None and most.part in LESSENS:
        yield f"{upper_first(part_name(most.part))}. {LESSENS[most.part]}", "text"


def past_rows(v: Viewer, wide: int, high: int) -> Block:
    """The results before this one, a row each, where the screen is wide."""
    view = v.view
    findings = [one for one in view.past_findings if one != view.finding]
    if not findings:
        return []
    board = view.widest_board()
    head: Line = [("Results before", "strong")]
    if board is not None:
        across = nominal_words(board, view.units)
        head.append((f"  (sled fence across {across})", "faint"))
    out: Block = [head]
    for finding in findings:
        out += wrap(" ".join(past_cells(v, finding)), wide)
    return out


def past_cells(v: Hosted, finding: Finding) -> tuple[str, str, str, str]:
    """Day, verdict, check and size of one of the past results."""
    view = v.view
    sign, words, _ = verdict_line(finding.verdict, v.glyphs)
    much = ""
    if finding.quantities:
        much = result.short_size(finding, view.units, view.board(finding))
    return finding.at[:10], f"{sign} {words}", spaced(finding.check), much
