"""Format `wedge`: a cable that types the reading as a USB keyboard would.

Key names are the kernel's (input-event-codes.h); keys are taken as on a US layout, main
block or keypad.

    KEY_MINUS KEY_0 KEY_DOT KEY_1 KEY_2 KEY_ENTER -> -0.12
    KEY_KP1 KEY_KPDOT KEY_KP5 KEY_KPENTER -> 1.5
    KEY_1 KEY_2                           -> refused: no terminator before the time-out

As text, the key presses of one run a line, parted by blanks, KEY_ said or not; the
line's end is the time-out. A run may hold several readings, each ended by the
terminator. Number rules are those of `plain`.
"""

from __future__ import annotations

from hw.formats.shared.clocked import FrameDecoder
from hw.formats.shared.options import (
    DECIMALS,
    DEFAULT_UNIT,
    RANGE,
    FormatOption,
    choice,
    read_all,
    seconds,
)
from hw.formats.shared.plain_text import Fault, read_plain
from hw.formats.shared.wire_format import (
    KEYBOARD,
    Diagnosis,
    Options,
    RecordTraits,
    WireFormat,
    maker,
)
from hw.reading import Record, Unit

CHARACTERS = {str(digit): str(digit) for digit in range(10)} | {
    f"KP{digit}": str(digit) for digit in range(10)
}
CHARACTERS |= {"DOT": ".", "KPDOT": ".", "COMMA": ",", "KPCOMMA": ",", "SPACE": " "}
CHARACTERS |= {"MINUS": "-", "KPMINUS": "-", "KPPLUS": "+"}
TERMINATORS = {"ENTER": ("ENTER", "KPENTER"), "TAB": ("TAB",)}
LONGEST_NUMBER = 64  # keys; as long as a line of text may be


class Wedge(FrameDecoder):
    longest = 1024  # bytes of key names

    def __init__(
        self,
        *,
        terminator: str = "ENTER",
        default_unit: Unit = "mm",
        decimals: int | None = None,
        range_mm: tuple[float, float] | None = None,
    ) -> None:
        super().__init__(range_mm=range_mm)
        self._terminator = terminator
        self._ends = TERMINATORS[terminator]
        self._default_unit: Unit = default_unit
        self._decimals = decimals

    def _frames(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        run: list[bytes] = []
        for key in line.split():
            run.append(key)
            if key.decode("latin-1").removeprefix("KEY_") in self._ends:
                if len(run) > 1:  # a terminator alone is an empty line
                    keys = b" ".join(run[:-1])
                    super()._frames(keys, b" ".join(run), behind, out)
                run = []
        if run:
            fault = f"no {self._terminator} before the time-out"
            out.append(self._reject(fault, b" ".join(run), behind))

    def _read(self, line: bytes) -> Record:
        keys = line.decode("latin-1").split()
        text = "".join(self._character(key) for key in keys)
        if len(text) > LONGEST_NUMBER:
            raise Fault(f"more than {LONGEST_NUMBER} keys without {self._terminator}")
        return read_plain(text, self._decimals, self._default_unit)[0]

    @staticmethod
    def _character(key: str) -> str:
        character = CHARACTERS.get(key.removeprefix("KEY_"))
        if character is None:
            raise Fault(f"the key {key!r} has no place in a number")
        return character


def _diagnose(options: Options, text: bytes) -> Diagnosis:
    """The other terminator, where it ends the numbers."""
    other = "ENTER" if options.get("terminator") == "TAB" else "TAB"
    runs = text.decode("ascii", "replace").splitlines()
    seen = tuple(f"keys {run}" for run in runs[-2:])
    decoder = maker(Wedge)({**read_all("", _OPTIONS, options), "terminator": other})
    read = sum(
        record.value is not None
        for record in decoder.feed("".join(f"{r}\n" for r in runs).encode())
    )
    if read and read >= len(runs) - 1:
        return Diagnosis(
            f"it ends its numbers with the key {other}",
            "write",
            seen,
            {"terminator": other},
        )
    return Diagnosis(
        "it types what is no number",
        "is it the cable and not a keyboard; does it type as on a US keyboard?"
        " `sweepgauge capture` keeps what came for a report",
        seen,
    )


_OPTIONS = (
    DEFAULT_UNIT,
    DECIMALS,
    RANGE,
    FormatOption(
        "terminator", "ENTER", "the key that ends a reading", choice("ENTER", "TAB")
    ),
    FormatOption(
        "timeout",
        0.3,
        "how long after the last key a reading may still end, s",
        seconds(10),
    ),
)

FORMAT = WireFormat(
    name="wedge",
    words="a cable that types as a keyboard would",
    make=maker(Wedge),
    options=_OPTIONS,
    port=KEYBOARD,
    traits=RecordTraits(undetected_errors=False),
    pattern=rb"(?:KEY_\w+ ?)+\s",
    diagnose=_diagnose,
)
