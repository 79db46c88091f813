"""The top row: which sled on which saw, how the instruments and the log do."""

from __future__ import annotations

from bench.console import first_start, readout
from bench.console.instrument_view import STATES, InstrumentView
from bench.console.text import Block, Line, Role, justify, plain, width
from bench.console.widgets.drawing import Drawing

_BAR: dict[Role, Role] = {"good": "bar-good", "bad": "bar-bad", "unsure": "bar-unsure"}
_SPOILED = {"hold": "on hold, MAX, MIN", "missed_edge": "missed an edge"}


def health(instrument: InstrumentView, now: float) -> tuple[str, Role]:
    """One instrument in two or three words, and whether that is good."""
    words = STATES.get(instrument.state, instrument.state)
    if instrument.state == "open":
        if instrument.spoiled:
            return _SPOILED.get(instrument.spoiled, instrument.spoiled), "bad"
        if instrument.at is None:
            return "waits for a reading", "unsure"
        if not instrument.fresh(now):
            return f"read {readout.age(now - instrument.at)}", "unsure"
    return words, "good" if instrument.state in ("open", "marks") else "bad"


class StatusStrip(Drawing):
    watches = frozenset({"health", "ask", "gear", "result"})

    def draw(self, wide: int, high: int) -> Block:
        view = self.view
        jig = view.jig_gear()
        saw = view.saw or (jig.saw if jig is not None else None)
        left: Line = [(" " + (view.the_jig or "no sled yet"), "bar")]
        if saw and wide >= 60:
            left.append((f" on {saw}", "bar"))
        right = self._health(wide - len(plain(left)) - 2)
        if view.here and view.log_state == "saving":
            right = [("saving ... ", "bar-unsure"), *right]
        elif view.here and view.log_state == "not-recorded":
            right = [(f"{self.glyphs.bad} NOT RECORDED ", "bar-bad"), *right]
        return [justify(left, right, wide, "bar")]

    def _health(self, room: int) -> Line:
        g, view = self.glyphs, self.view
        if not view.here:
            return [(f"{g.bad} no daemon ", "bar-bad")]
        if first_start.bare(view):
            count = sum(one.live for one in view.ports.values())
            words = f"{count} cable{'s' * (count > 1)} heard"
            return [
                (f"{g.unsure} {words if count else 'no instrument'} ", "bar-unsure")
            ]
        told: Line = []
        worst: Line = [(f"{g.reads} all read ", "bar-good")]
        for instrument in view.instruments.values():
            words, role = health(instrument, view.clock())
            sign = {"good": g.reads, "bad": g.troubled}.get(role, g.unsure)
            one = (f"{sign} {instrument.name} {words} ", _BAR[role])
            told.append((one[0] + " ", one[1]))
            worst = worst if role == "good" else [one]
        return told if width(told) <= room else worst
