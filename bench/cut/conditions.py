"""The conditions of a forecast: what is cut, and how; validated where they enter."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import msgspec

from bench.checks.options import Option, choice, length, number, validated
from bench.gear import Jig

BoardPlace = Literal["left", "across", "right"]

USUAL_BOARD = 300.0  # mm, where the sled's widest board is not known; common practice
USUAL_CUT = 300.0  # mm, unless said; the length over which a tolerance is told
USUAL_HANDLE = 150.0  # mm of a square's handle, unless said; common practice, no source

CUT_OPTIONS = (
    length(
        "board",
        "Length of the board along the sled fence (the sled's widest unless said)",
        (20.0, 5000.0),
    ),
    length("cut", "Length of the cut (300 mm unless said)", (20.0, 5000.0)),
    choice(
        "at",
        "Where the board lies, from the blade; the kept part is on that side",
        ("left", "across", "right"),
        "left",
    ),
    choice(
        "clear",
        "Whether every cut is pushed clear past the rear teeth",
        ("yes", "no"),
        "yes",
    ),
    choice(
        "held",
        "Whether the sled is held to one wall in the cut (as it was swept unless said)",
        ("yes", "no"),
    ),
    length(
        "handle",
        "Length of the square's handle that lay on the sled fence (150 mm unless said)",
        (20.0, 1000.0),
    ),
)


class _CutOptions(msgspec.Struct, frozen=True):
    kind: str = "cut"
    options: tuple[Option, ...] = CUT_OPTIONS


class CutConditions(msgspec.Struct, frozen=True):
    """board, cut, handle: mm. held: None where nobody said."""

    board: float = USUAL_BOARD
    cut: float = USUAL_CUT
    at: BoardPlace = "left"
    clear: bool = True
    held: bool | None = None
    handle: float = USUAL_HANDLE

    @property
    def stretch(self) -> tuple[float, float]:
        """The ends of the board along the sled fence, mm from the blade, right
        positive."""
        starts = {"left": -self.board, "across": -self.board / 2, "right": 0.0}
        return starts[self.at], starts[self.at] + self.board

    @property
    def handle_stretch(self) -> tuple[float, float]:
        """The ends of the square's handle in both set-ups: left of the blade, as the
        check draws it."""
        return -self.handle, 0.0


def read_conditions(given: Mapping[str, object], jig: Jig | None) -> CutConditions:
    """The conditions from what was typed or sent. Raises OptionError."""
    values = validated(_CutOptions(), given)
    widest = jig.widest_board if jig is not None else None
    at, held = values["at"], values.get("held")
    return CutConditions(
        board=number(values, "board", widest or USUAL_BOARD),
        cut=number(values, "cut", USUAL_CUT),
        at="across" if at == "across" else "right" if at == "right" else "left",
        clear=values["clear"] == "yes",
        held=None if held is None else held == "yes",
        handle=number(values, "handle", USUAL_HANDLE),
    )
