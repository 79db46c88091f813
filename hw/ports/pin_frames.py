"""Edges of pins joined to lines of text: frames of bits, runs of quadrature states."""

from __future__ import annotations

from collections.abc import Mapping

from hw.ports.pin_lines import LineEvent, MissedEdges

TextLine = tuple[str, int]  # text for the decoder, and the ns of its last edge


class FrameBuilder:
    """Bits between two pauses of the clock; `?` stands where edges were missed, and
    every decoder rejects it."""

    def __init__(
        self, edge: str, gap_us: int, levels: Mapping[str, bool], *, whole: bool = False
    ) -> None:
        """levels: of clock and data when opened. whole: the clock is idle at first, as
        before a request."""
        self._rising = edge == "rising"
        self._gap = gap_us * 1000
        self._data = levels.get("data", False)
        self._clock = levels.get("clock", False)
        self._bits: list[str] = []
        self._whole = whole  # a pause was seen since the opening
        self._last: int | None = None  # ns of the last clock edge
        self._sampled = 0  # ns of the last bit

    def add(self, event: LineEvent) -> TextLine | None:
        """The line that ended before this event, if one did."""
        if isinstance(event, MissedEdges):
            self._bits.append("?")
            self._sampled = event.at
            return None
        if event.line != "clock":
            self._data = event.level if event.line == "data" else self._data
            return None
        ended = None
        if self._last is not None and event.at - self._last > self._gap:
            ended = self.pause()
        if event.level == self._clock:  # the edge between was missed
            self._bits.append("?")
        self._clock, self._last = event.level, event.at
        if event.level == self._rising:
            self._bits.append("1" if self._data else "0")
            self._sampled = event.at
        return ended

    def pause(self) -> TextLine | None:
        """The line that ends because no edge comes any more."""
        bits, self._bits = "".join(self._bits), []
        whole, self._whole = self._whole, True
        return (bits, self._sampled) if bits and whole else None


class StateBuilder:
    """States 2A + B of two square waves, in runs; each run begins with the state that
    the last one ended with."""

    def __init__(self, levels: Mapping[str, bool]) -> None:
        self._a, self._b = levels.get("a", False), levels.get("b", False)
        self._run = [self._state()]
        self._last = 0

    def _state(self) -> str:
        return str(2 * self._a + self._b)

    def add(self, event: LineEvent) -> TextLine | None:
        self._last = event.at
        if isinstance(event, MissedEdges):
            self._run.append("?")  # the number of missed edges is not known
            return None
        before = self._state()
        if event.line == "a":
            self._a = event.level
        elif event.line == "b":
            self._b = event.level
        elif event.line == "z":
            return None
        # an edge to the level that the line had: the edge between was missed
        self._run.append(self._state() if self._state() != before else "?")
        return None

    def pause(self) -> TextLine | None:
        if len(self._run) < 2:
            return None
        run, self._run = "".join(self._run), [self._state()]
        return run, self._last

    def stand(self, now: int) -> TextLine:
        """A run of one state, so that a scale at rest differs from a pulled cable."""
        return self._state(), now


Builder = FrameBuilder | StateBuilder  # edges in order -> lines of text
