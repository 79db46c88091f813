"""The live move: what to do, how much of it is made, and what was done so far."""

from __future__ import annotations

import msgspec

from bench.console.contents.figure import FIGURE_ROLES, live_role
from bench.console.drawings.sled import draw_sled, indicator_on_sled
from bench.console.drawings.styled_text import Block, Line, Role
from bench.console.host import LOW
from bench.console.readout import verdict_line
from bench.console.requests import Stands
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import LiveMoveNotice
from bench.render.screen import screen_text

LEAST_DRAWN = 0.0005  # mm, half of the last digit that is shown
GAUGE_COLUMNS = 160


def live_words(v: Viewer) -> Sentences:
    live = v.view.live
    if live is not None:
        role, g = live_role(live), v.glyphs
        sign = {"bad": g.bad, "unsure": g.unsure}.get(role, g.right_mark)
        yield f"{sign} {live.words}", role if role in FIGURE_ROLES else "act"


def live_facts(v: Viewer) -> Sentences:
    """The distance moved, the band that is good enough, the pull of the screw."""
    live, units = v.view.live, v.view.units
    sets_up = live is not None and live.phase in ("stand", "lean")
    if live is None or sets_up or v.app.size.height < LOW:
        return
    if live.verdict is not None:
        sign, _, role = verdict_line(live.verdict, v.glyphs)
        loose = live.phase == "go" and live.verdict == "inside"
        code = "live-once-tight" if loose else f"live-{live.verdict}"
        yield f"{sign} {screen_text(code)}", role
    if live.tolerance is not None:
        yield screen_text("good-within", units, limit=live.tolerance), "text"
    drew = any(remark.code == "live-drawn" for remark in live.remarks)
    drawn = None if drew else live.drawn
    for code, mm in (("moved", live.moved), ("screw-drew", drawn)):
        give = live.uncertainty or 0.0
        if mm is not None and abs(mm) >= max(LEAST_DRAWN, give / 2):
            way = "away" if mm > 0 else "toward"
            yield (
                screen_text(code, units, distance=abs(mm), uncertainty=give, way=way),
                "text",
            )


def live_gauge(v: Viewer, wide: int, high: int) -> Block:
    """A bar of the distance made up to the aim, with room for too far."""
    live, g = v.view.live, v.glyphs
    if live is None or live.target is None or live.to_go is None:
        return []
    cells = max(12, min(wide, GAUGE_COLUMNS)) - 4
    aim = cells * 3 // 4
    share = abs(live.to_go) / abs(live.target) if live.target else 0.0
    made = 1.0 + share if live.past else 1.0 - share
    done = max(0, min(cells, round(made * aim)))
    good = live.there or live.verdict == "inside"
    role = FIGURE_ROLES.get(live_role(live), "good" if good else "number")
    left = (g.dash * (cells - done), "rule")
    row: Line = [("  ", "text"), (g.full * done, role), left]  # type: ignore[list-item]
    return [row, _below(live, aim, cells, g.up_mark)]


def _below(live: LiveMoveNotice, aim: int, cells: int, mark: str) -> Line:
    """Below the bar: the band that is good enough, or the aim alone."""
    words = "there" if live.there else "good enough"
    role: Role = "strong" if live.there else "good"
    share = (live.tolerance or 0.0) / abs(live.target or 1.0)
    band = min(aim, round(share * aim))
    first, last = aim - band, min(cells - 1, aim + band)
    if last - first < len(words) + 3:
        return [("  " + " " * aim + mark, "strong"), (f" {words}", role)]
    inside = f" {words} ".center(last - first - 1, "=")
    return [("  " + " " * first, "text"), (f"[{inside}]", role)]


def indicator_picture(
    v: Viewer, wide: int, high: int, stands: Stands | None = None
) -> Block:
    """The place of the indicator on the sled for the live move, and how the sled is
    leaned."""
    live, finding = v.view.live, v.view.finding
    how = stands or (live.stands if live is not None else None)
    if how is None:
        return []
    jig = v.view.find_jig(finding.jig if finding is not None else None)
    leans = stands is None and live is not None and live.phase == "lean"
    return indicator_on_sled(how, jig, wide, high, v.glyphs, leans=leans)


def move_picture(v: Viewer, wide: int, high: int) -> Block:
    """The sled from above: which end still goes how far, and which way."""
    live, finding = v.view.live, v.view.finding
    move = finding.proposed if finding is not None else None
    jig = v.view.find_jig(finding.jig if finding is not None else None)
    if live is None or move is None or jig is None or live.to_go is None:
        return []
    left = msgspec.structs.replace(
        move,
        way=live.way or move.way,
        distance=abs(live.to_go),
        uncertainty=live.uncertainty or move.uncertainty,
    )
    goes = None if live.there else left
    return draw_sled(jig, goes, wide, high, v.glyphs, v.view.units, at_stop="")
