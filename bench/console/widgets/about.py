"""What the chosen row of a list is about: beside the list where the screen is wide."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import chain

import msgspec
from textual.app import ComposeResult
from textual.containers import Vertical

from bench.console import readout
from bench.console.text import Block
from bench.console.view_model import ViewModel
from bench.console.widgets.drawing import WIDEST, Draw, Drawing
from bench.console.widgets.pages import sled_picture
from bench.console.widgets.prompt import first_set_up
from bench.console.widgets.result import further_words, past_words, result_picture
from bench.console.widgets.viewer import Says, Sentences, Viewer, Words
from bench.protocol import Finding, Jig
from bench.render.result import name, upper_first, verdict_words
from bench.render.screen import told

WATCHES = "past gear result"


def nothing(v: Viewer) -> Sentences:
    return ()


def no_picture(v: Viewer, wide: int, high: int) -> Block:
    return []


class Subject(msgspec.Struct, frozen=True):
    """What a row is about, in words and as a picture."""

    says: Says = nothing
    draws: Draw = no_picture


class About(Vertical):
    """A picture that belongs to the whole list stands below it on a small screen."""

    subject = Subject()

    def compose(self) -> ComposeResult:
        yield Words(self._says, f"{WATCHES} number health")
        yield Drawing(self._draws, WATCHES, widest=WIDEST)

    def _says(self, v: Viewer) -> Sentences:
        return self.subject.says(v)

    def _draws(self, v: Viewer, wide: int, high: int) -> Block:
        return self.subject.draws(v, wide, high)

    def tell(self, subject: Subject) -> None:
        self.subject = subject
        for viewer in self.query(Viewer):
            viewer.show_view()


# ---- what rows are about -------------------------------------------------------------


def _verdict(finding: Finding) -> str:
    check, verdict = upper_first(name(finding.check)), verdict_words(finding.verdict)
    return told("result", check=check, day=finding.at[:10], verdict=verdict)


def about_finding(finding: Finding) -> Subject:
    """An earlier result, and what became of its move."""

    def says(v: Viewer) -> Sentences:
        yield _verdict(finding), "strong"
        yield from past_words(v, finding)
        yield from further_words(v, finding)

    return Subject(says, partial(result_picture, finding=finding))


def about_check(view: ViewModel, check: str, jig: str | None = None) -> Subject:
    """The last result of a check, on that sled or on the saw."""
    finding = next(_results(view, check, jig or view.the_jig), None)
    if finding is None:
        words = told("never-measured", check=upper_first(name(check)))
        picture = partial(first_set_up, check=check)
        return Subject(lambda v: [(words, "text")], picture)
    return about_finding(finding)


def _results(view: ViewModel, check: str, jig: str | None) -> Iterator[Finding]:
    known = chain(view.last, view.past or [])
    return (f for f in known if f.check == check and f.jig in (None, jig))


def about_sled(jig: Jig) -> Subject:
    """The sled as it is described, and its last results."""

    def says(v: Viewer) -> Sentences:
        results = [f for f in v.view.last if f.jig == jig.name]
        for f in results or ():
            yield _verdict(f), "text"
        if not results:
            yield "Nothing measured yet on this sled.", "text"

    return Subject(says, partial(sled_picture, jig=jig))


def instrument_words(v: Viewer) -> Sentences:
    """What each instrument reads just now."""
    for one in v.view.instruments.values():
        if one.live:
            number = " ".join(readout.number(one, v.view.units))
            who = upper_first(one.name)
            yield told("instrument-now", name=who, number=number, way=one.way()), "text"
        else:
            yield one.named_words, "bad" if one.troubled else "text"
