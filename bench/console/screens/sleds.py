"""The sleds there are: one is chosen, another is described."""

from __future__ import annotations

from functools import partial

from bench.console.contents.details import sled_detail
from bench.console.screens.list_page import ListPage, Row
from bench.console.screens.sled_form import SledForm
from bench.console.screens.value import with_unit
from bench.protocol import Jig, PutLeaves
from bench.render.screen import screen_text
from bench.units import length_words
from bench.units.parsing import parse_length


class SledsScreen(ListPage):
    page = "sleds"
    title_words = "Sleds"

    def rows(self) -> list[Row]:
        view = self.view
        gear = view.gear
        out = [self._sled(jig) for jig in (gear.jigs if gear is not None else [])]
        another = self.opens(SledForm)
        words = "Describe another sled" if out else "Describe a sled"
        out.append(Row(words, another, leads=not out))
        leaves = gear.leaves if gear is not None else []
        owned = ", ".join(length_words(leaf, view.units) for leaf in leaves)
        out.append(Row("Leaves I own", self._type_leaves, value=owned or "none given"))
        return out

    def _sled(self, jig: Jig) -> Row:
        here = jig.name == self.view.current_jig
        more = screen_text("sled", side=jig.fence, pivot=jig.pivot)
        more += f", for {jig.saw}" if jig.saw else ""
        words = f"{jig.name} (this one)" if here else jig.name
        choose = partial(self._choose, jig.name)
        return Row(words, choose, more, leads=here, detail=sled_detail(jig))

    def _choose(self, name: str) -> None:
        self.view.choose_jig(name)
        self.requests.past()
        self.host.go_home()

    def _type_leaves(self) -> None:
        units = self.view.units

        def accept(text: str) -> None:
            parts = text.replace("+", " ").replace(",", ".").split()
            leaves = sorted(parse_length(with_unit(p, "thin", units)) for p in parts)
            self.requests.send(PutLeaves(leaves))

        unit = "mm" if units == "mm" else "thou"
        hint = screen_text("leaf-hint", unit=unit)
        self.ask_value("Which leaves do you own?", "", accept, hint=hint)
