"""The middle of the screen during the live move: the words, how far it is made, the
verdict."""

from __future__ import annotations

from bench.console.navigation import Navigation
from bench.console.readout import verdict_line
from bench.console.set_up_drawing import indicator_on_sled
from bench.console.text import Block, Line, Role, width, wrap, wrap_marked
from bench.console.view_model import ViewModel
from bench.protocol import LiveMoveNotice
from bench.render.result import upper_first
from bench.units import length_words, rounded_words


def content(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    live, g = state.live, navigation.glyphs
    assert live is not None
    bad = live.wrong or live.past
    out = wrap_marked(
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
        out += [[], *indicator_on_sled(live.stands, state.jig_gear(), wide - 2, g)]
    if live.target is not None and live.to_go is not None:
        gap: Block = [[]] if high >= 7 else []
        out += [*gap, *_gauge(live, live.target, live.to_go, wide - 4, navigation)]
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
        sign, words, role = verdict_line(live.verdict, g)
        when = (
            "once it is tight"
            if live.phase == "go" and live.verdict == "inside"
            else "as it stands"
        )
        out.append([(f" {sign} {words} {when}", role)])
    return out[:high]


def _signed(mm: float, live: LiveMoveNotice, state: ViewModel) -> str:
    """A distance of the free end with its way."""
    size = rounded_words(abs(mm), live.uncertainty or 0.0, state.units)
    return f"{size} {'away from' if mm > 0 else 'toward'} you"


def _gauge(
    live: LiveMoveNotice, target: float, to_go: float, wide: int, navigation: Navigation
) -> Block:
    """How much of the way is made: a bar up to the aim, with room for going past it."""
    g, past = navigation.glyphs, live.past
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
