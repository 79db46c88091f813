"""At rest: what was found last and what is due, and the one act that follows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget

from bench.console import first_start
from bench.console.contents import figure, pages, result, strip
from bench.console.drawings.result import has_picture
from bench.console.drawings.styled_text import Block
from bench.console.host import NARROW
from bench.console.screens.base import WorkScreen
from bench.console.widgets.act_bar import Act
from bench.console.widgets.drawing import PICTURE_COLUMNS, Drawing
from bench.console.widgets.viewer import ReadOn, TextPanel, Viewer
from bench.protocol import Finding
from bench.render.result import is_good, surely_closes


def _sled(v: Viewer, wide: int, high: int) -> Block:
    """Nothing where a result is shown, whichever of both the first paint has room
    for."""
    found = v.view.online and v.view.finding is not None
    return [] if found else pages.sled_picture(v, wide, high)


def _more_words(finding: Finding) -> str:
    """How many passes more: told of each set-up, where there are several."""
    more = finding.more_pushes
    if len({row.placement for row in finding.sweeps}) > 1:
        return f"{more} more in each set-up"
    return "one more pass" if more == 1 else f"{more} more passes"


class HomeScreen(WorkScreen):
    page = "home"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("1,c", "open('checks')", "check", key_display="1"),
        Binding("2,a", "again", "again", key_display="2"),
        Binding("4,m", "open('move')", "move", key_display="4"),
        Binding("5,v", "open('live_set_up')", "live", key_display="5"),
        Binding("3,l", "open('limits')", "limits", key_display="3"),
        Binding("6,p", "open('log')", "log", key_display="6"),
        Binding("7,s", "open('sleds')", "sleds", key_display="7"),
        Binding("9", "open('due')", "due", key_display="9"),
        Binding("8", "open('settings')", "settings", key_display="8"),
        Binding("full_stop", "open('symptoms')", "what is wrong?", key_display="."),
        Binding("plus", "more", "more passes", key_display="+"),
        Binding("plus,down,pagedown", "read_on", "read on", key_display="+"),
    ]

    def body(self) -> Iterable[Widget]:
        yield Drawing(figure.result_figure, id="figure")
        yield Drawing(strip.state_line, classes="-row")
        yield TextPanel(result.due_words)
        yield Drawing(strip.readout_row, "number", id="readout")
        yield Horizontal(
            ReadOn(
                TextPanel(result.result_words),
                Drawing(result.interval, id="interval"),
                TextPanel(result.further_words, id="further"),
                id="found",
            ),
            Drawing(result.result_picture, widest=PICTURE_COLUMNS, id="picture"),
            Drawing(_sled, widest=PICTURE_COLUMNS, id="sled"),
            Vertical(
                Drawing(result.budget_bars, id="budget"),
                Drawing(result.past_rows, id="past"),
                id="before",
            ),
            id="work",
        )

    def choose_parts(self) -> None:
        finding = self.view.finding if self.view.online else None
        self.set_class(finding is not None, "-found")
        self.set_class(finding is not None and surely_closes(finding), "-danger")
        self.set_class(finding is not None and has_picture(finding), "-drawn")

    def state_changed(self) -> None:
        if self.view.online and self.view.due_stale:
            self.requests.look_up("due")

    def acts(self) -> list[Act]:
        requests, view = self.requests, self.view
        if not view.online:
            return []
        if view.finding is None:
            return self._first_acts()
        good = is_good(view.finding) and not requests.moved
        act: str = requests.enter_act
        if act == "again" and good:
            act = "next"
        word, action, again = {
            "the move": ("make the move", "open('move')", "measure again"),
            "more": (_more_words(view.finding), "more", "again"),
            "limits": ("what limits it", "open('limits')", "again"),
            "next": ("next check", "open('checks')", "again"),
        }.get(act, ("check again", "again", ""))
        other = Act("2", again, "again")
        if not again:
            other = Act("1", "another check", "open('checks')")
        needed = self.has_class("-danger") or self.app.size.width < NARROW
        on = needed and self.can("read_on")  # a finger on a phone cannot scroll
        further = [Act("+", "read on", "read_on")] * on
        return [Act("Enter", word, action, leads=True), *further, other]

    def _first_acts(self) -> list[Act]:
        view = self.view
        if first_start.nothing_set_up(view):
            return [Act("Enter", "find the cables", "open('settings')", leads=True)]
        if view.gear is not None and not view.gear.jigs:
            return [
                Act("Enter", "describe a sled", "open('sled_form')", leads=True),
                Act("1", "check", "open('checks')"),
            ]
        return [Act("Enter", "begin a check", "open('checks')", leads=True)]

    def can(self, action: str) -> bool:
        finding, here = self.view.finding, self.view.online
        if action == "again":
            return here and finding is not None
        if action == "more":
            return here and self.requests.more_pushes is not None
        if action == "read_on":
            return any(box.max_scroll_y > 0 for box in self._boxes())
        return True

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "open":
            return self._opens(str(parameters[0]))
        return super().check_action(action, parameters)

    def _opens(self, page: str) -> bool:
        finding = self.view.finding
        move = finding.proposed if finding is not None else None
        if page == "move":
            return self.view.online and move is not None
        if page == "live_set_up":  # a mitre fence stands across the indicator's way
            return self.view.online and move is not None and move.fence is None
        if page == "limits":
            return finding is not None and bool(finding.budget)
        return self.view.online

    def action_again(self) -> None:
        self.requests.again()
        self.host.mark()

    def action_more(self) -> None:
        self.requests.more()
        self.host.mark()
