"""A sled is described by number pad, and drawn as typed before it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Literal

from bench.console.contents.pages import sled_picture
from bench.console.screens.confirm import ConfirmScreen
from bench.console.screens.list_page import ListPage, Row
from bench.console.screens.value import Kind
from bench.console.widgets.detail_pane import Detail
from bench.protocol import GearReply, Jig, Option, PutJig
from bench.units import PER_MM
from bench.units.parsing import parse_length, parse_slope

FIELDS = {
    "name": "Name",
    "fence": "Sled fence",
    "pivot": "Pivot",
    "pivot_to_blade": "Pivot to blade",
    "pivot_to_screw": "Pivot to adjusting screw",
    "pivot_to_stop": "Pivot to where the leaf goes",
    "widest_board": "Widest board",
    "tolerance": "Good enough",
}
CHOICES: dict[str, dict[str, str]] = {
    "fence": {"near": "on your side", "far": "beyond the work"},
    "pivot": {"right": "at the right end", "left": "at the left end"},
}
FIELD_KINDS: dict[str, Kind] = {"name": "text", "tolerance": "slope"}
WALL_SIDES: dict[str, Literal["left", "right"]] = {"left": "left", "right": "right"}
# fields of the sled that checks declare as its own
ASKED_ONCE = frozenset({"hold"})
NO_MOVE = "Without the distance from pivot to screw no move can be told. Keep it?"


class SledForm(ListPage):
    page = "sled"
    title_words = "The sled"
    drawn = True

    def __init__(self) -> None:
        super().__init__()
        self._given: dict[str, str] = {"fence": "near", "pivot": "right"}
        self._sent: str | None = None  # the name under which it was sent
        self._gear_before: GearReply | None = None  # as it was when that was sent

    def detail(self) -> Detail:
        return Detail(draw=partial(sled_picture, jig=typed_jig(self._given)))

    def on_mount(self) -> None:
        gear = self.view.gear
        count = len(gear.jigs) + 1 if gear is not None else 1
        self._given["name"] = f"sled-{count}"
        super().on_mount()

    def rows(self) -> list[Row]:
        over = "300 mm" if self.view.units == "mm" else "a foot"
        out = []
        for field, label in FIELDS.items():
            value = self._given.get(field)
            words = f"{label} over {over}" if field == "tolerance" else label
            take = partial(self._type, field, words)
            if field in CHOICES:
                take, value = partial(self._turn, field), CHOICES[field][value or ""]
            out.append(Row(words, take, value=value or "not said"))
        out.append(Row("This is mine: keep it", self._keep, leads=True))
        return out + [self._asked_once(option) for option in self._of_sled()]

    def _of_sled(self) -> list[Option]:
        """The options that checks would ask again and again, and the sled answers once
        for all."""
        kinds = self.view.checks or []
        found = {o.name: o for kind in kinds for o in kind.options if o.of_sled}
        return [option for name, option in found.items() if name in ASKED_ONCE]

    def _asked_once(self, option: Option) -> Row:
        turn = partial(self._turn, option.name, ["", *option.choices])
        return Row(option.words, turn, value=self._given.get(option.name) or "not said")

    def _turn(self, field: str, choices: Sequence[str] = ()) -> None:
        choices = choices or list(CHOICES[field])
        at = choices.index(self._given.get(field, choices[0]))
        self._given[field] = choices[(at + 1) % len(choices)]
        self.fill()

    def _type(self, field: str, words: str) -> None:
        kind = FIELD_KINDS.get(field, "length")

        def accept(text: str) -> None:
            if kind != "text":
                (parse_slope if kind == "slope" else parse_length)(text)
            self._given[field] = text

        self.ask_value(words, self._given.get(field, ""), accept, kind)

    def _keep(self) -> None:
        if "pivot_to_screw" in self._given or "pivot_to_stop" in self._given:
            self._kept(True)
        else:
            self.app.push_screen(ConfirmScreen(NO_MOVE, self.host.last_key), self._kept)

    def _kept(self, sure: bool | None) -> None:
        jig = typed_jig(self._given)
        if sure and self.requests.send(PutJig(jig)):
            self._sent, self._gear_before = jig.name, self.view.gear

    def state_changed(self) -> None:
        """The values stay until the daemon has them: it may refuse one."""
        super().state_changed()
        told = self.view.gear is not self._gear_before
        if self._sent and told and self.view.find_jig(self._sent):
            self.view.choose_jig(self._sent)
            self.host.go_home()


def typed_jig(given: dict[str, str]) -> Jig:
    """The sled as it was typed. Raises UnitsError; a field that was left out stays
    unknown."""

    def length(field: str) -> float | None:
        return parse_length(given[field]) if field in given else None

    slope = parse_slope(given["tolerance"]) if "tolerance" in given else 0.05 / PER_MM
    return Jig(
        name=given.get("name", "sled"),
        fence="far" if given.get("fence") == "far" else "near",
        pivot="left" if given.get("pivot") == "left" else "right",
        pivot_to_blade=length("pivot_to_blade"),
        pivot_to_screw=length("pivot_to_screw"),
        pivot_to_stop=length("pivot_to_stop"),
        widest_board=length("widest_board"),
        tolerance=slope,
        hold=WALL_SIDES.get(given.get("hold", "")),
    )
