"""Format `quad_x4`: the two square waves of an incremental scale or encoder, every edge
counted.

State = 2A + B, A leading B counts up: 0 2 3 1 0 is +1 each, the reverse -1, the same
state 0. Two waves changing at once is `illegal`: it adds nothing and is counted, since
an edge was missed.

    02310 -> 4 counts      01320 -> -4      0202 -> 1      03 -> 0 with 1 illegal

As text, one run of states a line, digits 0 to 3, however long.
"""

from __future__ import annotations

from hw.formats.shared.wire_format import (
    PINS,
    Diagnosis,
    Options,
    RecordTraits,
    WireFormat,
)
from hw.reading import Record

RAW_LENGTH = 64  # bytes of a run that stay with its record
ILLEGAL = 2  # two waves changed at once
# from each old state (rows 0 to 3) to each new one (columns): -1, 0, 1, or ILLEGAL
STATE_STEPS = (
    (0, -1, 1, ILLEGAL),
    (1, 0, ILLEGAL, -1),
    (-1, ILLEGAL, 0, 1),
    (ILLEGAL, 1, -1, 0),
)


class QuadX4:
    """Runs of states as text; see hw.reading.Decoder."""

    def __init__(self) -> None:
        self.rejects = 0
        self._start()

    def _start(self) -> None:
        self._state: int | None = None
        self._counts = self._illegal = 0
        self._raw = b""
        self._fault: str | None = None

    def feed(self, data: bytes) -> list[Record]:
        """Text as it came -> a record for each run that ended."""
        out: list[Record] = []
        for place, byte in enumerate(data):
            if 0x30 <= byte <= 0x33:
                self._step(byte - 0x30)
            elif byte in b"\r\n":
                out += self._end(len(data) - place - 1)
                continue
            elif byte == 0x20:
                continue
            elif self._fault is None:
                self._fault = f"byte 0x{byte:02x} is no state (0 to 3)"
            if len(self._raw) < RAW_LENGTH:
                self._raw += data[place : place + 1]
        return out

    def _step(self, state: int) -> None:
        change = 0 if self._state is None else STATE_STEPS[self._state][state]
        self._state = state
        if change == ILLEGAL:
            self._illegal += 1
        else:
            self._counts += change

    def finish(self) -> list[Record]:
        """The end of the input ends the run."""
        return self._end(0)

    def _end(self, behind: int) -> list[Record]:
        """The run as a record; none of an empty line."""
        counts, illegal, fault = self._counts, self._illegal, self._fault
        raw, empty = self._raw, self._state is None
        self._start()
        if fault is not None:
            self.rejects += 1
            return [Record(fault=fault, raw=raw, behind=behind)]
        if empty:
            return []
        return [Record(counts=counts, illegal=illegal, raw=raw, behind=behind)]


def _diagnose(options: Options, text: bytes) -> Diagnosis:
    return Diagnosis(
        "the two waves are not followed, an edge is missed now and then",
        "move it slower; a microcontroller that counts misses none (profile bridge)",
    )


FORMAT = WireFormat(
    name="quad_x4",
    words="the two square waves of an incremental scale or encoder",
    make=lambda options: QuadX4(),
    port=PINS,
    wires=("a", "b", "z"),
    traits=RecordTraits(counts="change", gauge=False, undetected_errors=False),
    diagnose=_diagnose,
)
