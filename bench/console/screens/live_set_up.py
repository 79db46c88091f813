"""How the indicator stands on the sled for the live move."""

from __future__ import annotations

from collections.abc import Iterable

from textual import on
from textual.widget import Widget
from textual.widgets import OptionList

from bench.console.requests import Stands
from bench.console.screens.check_form import with_unit
from bench.console.screens.rows import Row, RowsScreen
from bench.console.widgets.sled_picture import IndicatorPicture
from bench.units import length_words, parse_length

STANDS: tuple[Stands, ...] = ("beyond", "behind", "right", "left")


class LiveSetUpScreen(RowsScreen):
    page = "live_set_up"
    title_words = "How does the indicator stand on the sled?"

    def below(self) -> Iterable[Widget]:
        yield IndicatorPicture(STANDS[0])

    def rows(self) -> list[Row]:
        finding = self.view.finding
        jig = self.view.jig_gear(finding.jig if finding is not None else None)
        reach = None if jig is None else jig.pivot_to_stop or jig.pivot_to_screw
        units = self.view.units
        at = (
            f", {length_words(reach, units)} from the pivot"
            if reach is not None
            else ""
        )
        return [
            Row(
                "Beyond the sled fence, looking back at you",
                lambda: self._begin("beyond"),
                f"On the sled, tip on the far face{at}.",
                leads=True,
            ),
            Row(
                "On your side of the sled fence, looking away from you",
                lambda: self._begin("behind"),
                f"On the sled, tip on the near face{at}.",
            ),
            Row("On the right of the square's arm", lambda: self._type("right")),
            Row("On the left of the square's arm", lambda: self._type("left")),
        ]

    @on(OptionList.OptionHighlighted)
    def _highlighted(self, event: OptionList.OptionHighlighted) -> None:
        self.query_one(IndicatorPicture).stand(STANDS[event.option_index])

    def _begin(self, stands: Stands) -> None:
        if self.requests.begin_live("fence", stands):
            self.host.go_home()

    def _type(self, stands: Stands) -> None:
        def accept(text: str) -> None:
            beyond = parse_length(with_unit(text, self.view.units))
            self.requests.begin_live("arm", stands, beyond)

        self.ask("How far along the arm from the pivot's line is the tip?", "", accept)

    def _typed(self, text: str | None) -> None:
        if text is not None:
            self.host.go_home()
