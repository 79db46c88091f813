"""What to do now: the check in progress, the last result, the live move, or how to
begin. Pure.

Built only from what the daemon asks for; nothing here knows a check by name.
"""

from __future__ import annotations

from bench.console import first_start, phrases
from bench.console.dots import plot, scale
from bench.console.glyphs import PLAIN, RICH
from bench.console.phrases import upper_first
from bench.console.pictures import on_the_sled, picture
from bench.console.shapes import LEAST_HIGH, has_shape, shape
from bench.console.sleds import seen_from_above
from bench.console.state import State
from bench.console.text import Block, Line, Role, beside, fit, marked, tall, width, wrap
from bench.console.view import View
from bench.protocol import Ask, Finding, Jig, LiveSaid
from bench.render.remarks import notes_of, remark_words
from bench.units import length_words, rounded_words

WIDE = 100  # columns from which budget and earlier results stand beside the result
PICTURE = 34  # columns of the drawing on a screen of 80


def content(state: State, view: View, wide: int, high: int) -> Block:
    """The middle of the working screen."""
    if state.live is not None:
        return tall(_live(state, view, wide, high), high)
    if state.learn is not None or first_start.next_stage(state, view) is not None:
        return tall(first_start.content(state, view, wide, high), high)
    if state.ask is not None:
        return tall(_asked(state, view, wide, high), high)
    return tall(_rest(state, view, wide, high), high)


# ---- a check in progress -------------------------------------------------------------


def _asked(state: State, view: View, wide: int, high: int) -> Block:
    ask = state.ask
    assert ask is not None
    if ask.phase == "cautions":
        return _cautions(ask, view, wide, high)
    two = wide >= 56 and high >= 7
    left = wide - _picture_room(wide) - 1 if two else wide
    words = _words(state, view, left, high)
    rest = high - len(words)
    drawn = _drawing(state, view, _picture_room(wide), high) if two else []
    if two and not drawn:
        left = wide
        words = _words(state, view, left, high)
        rest = high - len(words)
    line = _line(state, view, left - 2, max(3, min(rest, max(9, high // 2))))
    if two:
        block = (
            [*words, *([] for _ in range(rest - len(line))), *line] if line else words
        )
        return beside(tall(block, high), left, drawn) if drawn else block
    if ask.moving and line and rest < 5:
        # hands are busy: the line says more than the words
        return _line(state, view, wide - 2, high)
    if ask.moving and line:
        return [*words, *line]
    if view.picture and (whole := _drawing(state, view, wide - 2, high)):
        return whole
    below = _drawing(state, view, wide - 2, rest) if rest >= 7 else []
    return [*words, *(below or line)]


def _picture_room(wide: int) -> int:
    return 27 if wide < 76 else PICTURE if wide < 110 else 56 if wide < 150 else 90


def _words(state: State, view: View, wide: int, high: int) -> Block:
    """What is asked, and why the last thing was not kept. Short of room the question
    goes first."""
    ask, g = state.ask, view.glyphs
    assert ask is not None
    out: Block = []
    if ask.remark:
        out += marked(ask.remark, wide - 2, f" {g.bad} ", "bad")
    out += marked(
        ask.words, wide - 2, f" {g.right_mark} " if ask.ready else "   ", "act"
    )
    if state.question and high - len(out) > 7:
        out = [
            *(
                [(" ", "text"), *line]
                for line in wrap(state.question, wide - 3, "faint")
            ),
            *out,
        ]
    return out[:high]


def _cautions(ask: Ask, view: View, wide: int, high: int) -> Block:
    """All at once; where they do not fit they are scrolled, and Enter waits for the end
    of them."""
    out: Block = []
    for caution in ask.cautions:
        out += marked(caution, wide - 2, f" {view.glyphs.bad} ", "caution")
    view.scroll = max(0, min(view.scroll, len(out) + 1 - high))
    room = high - 1
    shown = out[view.scroll : view.scroll + room]
    left = len(out) - view.scroll - len(shown)
    foot = "Enter: it is so." if left <= 0 else f"{left} rows more: + reads on."
    return [*tall(shown, min(room, len(shown))), [(" " + foot, "act")]]


def cautions_read(state: State, view: View, wide: int, high: int) -> bool:
    """Whether the end of the cautions has been on the screen."""
    ask = state.ask
    if ask is None or ask.phase != "cautions":
        return True
    rows = sum(
        len(marked(c, wide - 2, f" {view.glyphs.bad} ", "caution"))
        for c in ask.cautions
    )
    return view.scroll + high - 1 >= rows


def _drawing(state: State, view: View, wide: int, high: int) -> Block:
    assert state.ask is not None
    key = _key(state.ask)
    return (
        list(_drawn(key, state.jig_gear(), wide, high, view.glyphs.braille))
        if high > 0
        else []
    )


def _key(ask: Ask) -> Ask:
    """Only what the drawing shows, so that it is drawn once."""
    return Ask(
        phase="place", words="", placement=ask.placement, at=ask.at, lean=ask.lean, side=ask.side,
        mount=ask.mount, picture=ask.picture,
    )  # fmt: skip


_cache: dict[tuple[bytes, Jig | None, int, int, bool], Block] = {}


def _drawn(ask: Ask, jig: Jig | None, wide: int, high: int, rich: bool) -> Block:
    import msgspec

    key = (msgspec.json.encode(ask), jig, wide, high, rich)
    if key not in _cache:
        if len(_cache) > 32:
            _cache.clear()
        _cache[key] = picture(ask, jig, wide, high, RICH if rich else PLAIN)
    return _cache[key]


def _line(state: State, view: View, wide: int, high: int) -> Block:
    block = plot(
        state.line, state.placed_passes(), wide, high, view.glyphs, state.units
    )
    return [[(" ", "text"), *line] for line in block]


# ---- at rest: the sled's state -------------------------------------------------------


def _rest(state: State, view: View, wide: int, high: int) -> Block:
    finding = state.finding
    if finding is None:
        return _nothing(state, view, wide)
    if wide < WIDE:
        return result(state, finding, view, wide, high)
    left = wide * 3 // 5
    out = result(state, finding, view, left, high)
    spare = high - len(out)
    line = plot(
        None, state.passes, left - 6, min(16, spare - 12), view.glyphs, state.units
    )
    if line:
        out += [
            [],
            [("  The pushes of this check", "strong")],
            *([("  ", "text"), *row] for row in line),
        ]
    jig = state.jig_gear(finding.jig)
    if jig is not None and high - len(out) >= 9:
        words = f"{jig.name} seen from above, you stand at the bottom"
        out += [
            [],
            *(
                [(" ", "text"), *row]
                for row in seen_from_above(jig, view.glyphs, min(left - 4, 90), words)
            ),
        ]
    return beside(
        tall(out, high), left, _side(state, finding, view, wide - left - 3, high), 2
    )


def _nothing(state: State, view: View, wide: int) -> Block:
    """First start: numbers are live already; one sentence of what to do."""
    if not state.here:
        words = [
            "The screen waits for the daemon: `sweepgauge daemon` starts one,"
            " `sweepgauge demo` pretends a saw."
        ]
    elif not state.instruments or all(
        i.state == "marks" for i in state.instruments.values()
    ):
        words = ["No indicator is known yet: plug its cable in, then Enter."]
    elif state.gear is not None and not state.gear.jigs:
        words = [
            "No sled yet: 7 sets one up. `sweepgauge demo` tries it all on a pretend"
            " saw."
        ]
    else:
        words = ["Nothing measured yet on this sled.", "1 begins a check."]
    out: Block = []
    for text in words:
        out += marked(text, wide - 2, "   ", "act")
    return out


def result(state: State, finding: Finding, view: View, wide: int, high: int) -> Block:
    """The result in the bench's words: which way, how far across the own board, what to
    do; the rest as it fits."""
    units, board = state.units, state.board(finding.jig)
    first: Block = []
    wrong = phrases.diagnosis(finding)
    if wrong is not None:
        first += marked(
            remark_words(wrong, units), wide - 4, f"{view.glyphs.bad} ", "bad"
        )
    for n, text in enumerate(phrases.headline(finding, units, board)):
        first += wrap(text, wide - 4, "strong" if n < 2 else "faint")
    act = marked(
        phrases.next_act(finding, units), wide - 4, f"{view.glyphs.right_mark} ", "act"
    )
    made = (
        state.moves.get(finding.id) in ("made", "verified")
        or view.verifies == finding.id
    )
    if finding.proposed is not None and made:
        act = [[("The move is noted. ", "good"), ("Check again.", "act")]]
    bar = _interval(finding, view, min(wide - 4, 64), board, state)
    extra: Block = []
    if finding.proposed is not None:
        for text in phrases.leaves(
            finding.proposed, state.jig_gear(finding.jig), units
        ):
            extra += wrap(text, wide - 4, "text")
    for text in phrases.others(finding, units):
        extra += wrap(text, wide - 4, "faint")
    if finding.budget:
        extra += wrap(
            f"Limits it most: {phrases.name(finding.budget[0].part)}.",
            wide - 4,
            "faint",
        )
    for note in notes_of(finding, units, but=wrong):
        extra += wrap(note, wide - 4, "faint", indent=2)
    # what would settle it comes before what it seems to be
    close = finding.verdict == "cannot-tell"
    block = [*act, *first] if close else [*first, *act]
    # short of room: which way and how far in one breath, then the act
    if high < len(block):
        first = wrap(phrases.in_short(finding, units, board), wide - 4, "strong")[
            : max(1, high - len(act))
        ]
        return [
            [("  ", "text"), *line]
            for line in ([*act, *first] if close else [*first, *act])
        ][:high]
    if high >= len(block) + len(bar) + 1 and not (
        has_shape(finding) and high < len(block) + len(bar) + LEAST_HIGH
    ):
        # of two drawings the result's own
        block = [*act, *first, *bar] if close else [*first, *bar, *act]
    drawn = shape(
        finding, min(wide - 4, 90), high - len(block), view.glyphs, state.units
    )
    # asked for: the drawing in place of all but the act
    if view.picture and has_shape(finding):
        return [
            [("  ", "text"), *line]
            for line in (
                *act,
                *shape(finding, wide - 4, high - len(act), view.glyphs, state.units),
            )
        ][:high]
    block += drawn
    if high > len(block) + 1:
        block += extra[: high - len(block)]
    return [[("  ", "text"), *line] for line in block[:high]]


def _interval(
    finding: Finding, view: View, wide: int, board: float | None, state: State
) -> Block:
    q = finding.quantities[0]
    if wide < 24 or not q.uncertainty:
        return []
    del board, state
    way = (q.way or "").partition(",")[0]
    swapped = _opposite(way)
    if swapped == way:  # a size: there is no other way
        return scale(
            abs(q.value),
            q.uncertainty,
            q.tolerance,
            wide,
            view.glyphs,
            ("none", "much"),
            least=0.0,
        )
    ends = ("one way", "the other")
    if len(way) * 2 + 6 <= wide:
        ends = (swapped, way) if q.value > 0 else (way, swapped)
    return scale(q.value, q.uncertainty, q.tolerance, wide, view.glyphs, ends)


def _opposite(way: str) -> str:
    """The other way, of the same end where it is an end that stands too near or too
    far."""
    for one, other in (
        ("too near you", "too far from you"),
        ("too far from you", "too near you"),
    ):
        if one in way:
            return way.replace(one, other)
    turned = {"left": "right", "right": "left", "opens": "closes", "closes": "opens"}
    return " ".join(turned.get(word, word) for word in way.split())


def _side(state: State, finding: Finding, view: View, wide: int, high: int) -> Block:
    """On a wide screen: what limits the result, and the results before it."""
    out: Block = [
        [("What limits it", "strong")],
        *limits(state, finding, view, wide, max(4, high // 2 - 2)),
        [],
    ]
    across = length_words(state.board(finding.jig) or phrases.BOARD, state.units)
    out.append([("Results before", "strong"), (f"  (angles across {across})", "faint")])
    for past in (state.past if state.past is not None else state.last)[
        : max(0, high - len(out))
    ]:
        out.append(
            fit(
                [
                    (
                        phrases.row(
                            past, state.units, state.board(past.jig), view.glyphs
                        ),
                        "text",
                    )
                ],
                wide,
            )
        )
    return out


def limits(state: State, finding: Finding, view: View, wide: int, high: int) -> Block:
    """The ranked budget: part, share as a bar and in per cent, size across the board."""
    unit = finding.quantities[0].unit if finding.quantities else "mm"
    board = state.board(finding.jig)
    out: Block = []
    names = min(
        max((len(phrases.name(r.part)) for r in finding.budget), default=0),
        max(12, wide - 26),
    )
    for row in sorted(finding.budget, key=lambda r: -r.share)[:high]:
        name, much = (
            phrases.name(row.part),
            phrases.part_size(row.standard_uncertainty, unit, state.units, board),
        )
        bar_room = max(0, min(24, wide - names - 20))
        bar = view.glyphs.lower * round(row.share * bar_room)
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


# ---- the live move -------------------------------------------------------------------


def _live(state: State, view: View, wide: int, high: int) -> Block:
    live, g = state.live, view.glyphs
    assert live is not None
    bad = live.wrong or live.past
    out = marked(
        live.words,
        wide - 2,
        f" {g.bad if bad else g.right_mark} ",
        "bad" if bad else "act",
    )
    if (
        live.phase in ("stand", "lean")
        and live.stands is not None
        and wide >= 40
        and high - len(out) >= 7
    ):
        out += [[], *on_the_sled(live.stands, state.jig_gear(), wide - 2, g)]
    if live.target is not None and live.to_go is not None:
        gap: Block = [[]] if high >= 7 else []
        out += [*gap, *_gauge(live, live.target, live.to_go, wide - 4, view)]
    facts: list[str] = []
    if live.moved is not None:
        facts.append(f"moved {_signed(live.moved, live, state)}")
    if live.tolerance is not None:
        facts.append(f"good enough within {length_words(live.tolerance, state.units)}")
    if live.drawn is not None and abs(live.drawn) >= 0.0005:
        facts.append(f"the screw drew it {_signed(live.drawn, live, state)}")
    if facts:
        out += [
            [],
            *(
                [(" ", "text"), *line]
                for line in wrap(upper_first(", ".join(facts)) + ".", wide - 4, "text")
            ),
        ]
    if live.verdict is not None:
        sign, words, role = phrases.verdict(live.verdict, g)
        when = (
            "once it is tight"
            if live.phase == "go" and live.verdict == "inside"
            else "as it stands"
        )
        out.append([(f" {sign} {words} {when}", role)])
    return out[:high]


def _signed(mm: float, live: LiveSaid, state: State) -> str:
    """A distance of the free end with its way."""
    size = rounded_words(abs(mm), live.uncertainty or 0.0, state.units)
    return f"{size} {'away from' if mm > 0 else 'toward'} you"


def _gauge(live: LiveSaid, target: float, to_go: float, wide: int, view: View) -> Block:
    """How much of the way is made: a bar up to the aim, with room for going past it."""
    g, past = view.glyphs, live.past
    cells = max(12, min(wide, 60)) - 2
    there = cells * 3 // 4
    share = (
        1.0 + abs(to_go) / abs(target)
        if past and target
        else 1.0 - abs(to_go) / abs(target)
        if target
        else 1.0
    )
    done = max(0, min(cells, round(share * there)))
    role: Role = "bad" if past else "good"
    row: Line = [
        ("  ", "text"),
        (g.full * done, role),
        (g.dash * (cells - done), "rule"),
    ]
    mark: Line = [("  ", "text"), (" " * there + g.up_mark, "strong")]
    mark.append((" there", "strong") if live.there else (" the aim", "faint"))
    return [row, mark] if width(mark) <= wide + 2 else [row]
