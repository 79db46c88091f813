"""The contents of the detail pane: a result, a check, a sled, the instruments."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import chain

from bench.console import readout
from bench.console.contents.pages import sled_picture
from bench.console.contents.prompt import first_set_up
from bench.console.contents.result import further_words, past_words, result_picture
from bench.console.view_model import ViewModel
from bench.console.widgets.detail_pane import Detail
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import Finding, Jig
from bench.render.names import spaced, upper_first
from bench.render.result import verdict_words
from bench.render.screen import screen_text


def _verdict(finding: Finding) -> str:
    check, verdict = upper_first(spaced(finding.check)), verdict_words(finding.verdict)
    return screen_text("result", check=check, day=finding.at[:10], verdict=verdict)


def finding_detail(finding: Finding) -> Detail:
    """An earlier result, and what became of its move."""

    def sentences(v: Viewer) -> Sentences:
        yield _verdict(finding), "strong"
        yield from past_words(v, finding)
        yield from further_words(v, finding)

    return Detail(sentences, partial(result_picture, finding=finding))


def check_detail(view: ViewModel, check: str, jig: str | None = None) -> Detail:
    """The last result of a check, on that sled or on the saw."""
    finding = next(_results(view, check, jig or view.current_jig), None)
    if finding is None:
        words = screen_text("never-measured", check=upper_first(spaced(check)))
        picture = partial(first_set_up, check=check)
        return Detail(lambda v: [(words, "text")], picture)
    return finding_detail(finding)


def _results(view: ViewModel, check: str, jig: str | None) -> Iterator[Finding]:
    known = chain(view.last, view.past or [])
    return (f for f in known if f.check == check and f.jig in (None, jig))


def sled_detail(jig: Jig) -> Detail:
    """The sled as it is described, and its last results."""

    def sentences(v: Viewer) -> Sentences:
        results = [f for f in v.view.last if f.jig == jig.name]
        for f in results or ():
            yield _verdict(f), "text"
        if not results:
            yield "Nothing measured yet on this sled.", "text"

    return Detail(sentences, partial(sled_picture, jig=jig))


def instrument_words(v: Viewer) -> Sentences:
    """The present reading of each instrument."""
    for one in v.view.instruments.values():
        if one.live:
            number = " ".join(readout.number(one, v.view.units))
            who = upper_first(one.name)
            yield (
                screen_text("instrument-now", name=who, number=number, way=one.way()),
                "text",
            )
        else:
            yield one.named_words, "bad" if one.troubled else "text"
