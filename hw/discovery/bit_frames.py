"""Frames of bits that are not read as the settings say, and what would read them.

The number of bits in a frame, and whether a format reads them, decide the proposal. The
bits cannot tell at which edge of the clock they are valid; only the display can.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from hw.formats import FORMATS, make_decoder, read_options
from hw.formats.shared.wire_format import Diagnosis, Value
from hw.reading import FormatError

ALIKE_SHARE = 0.8  # of the frames that must have the same length
READ_SHARE = 0.9  # of those frames that a format must read for a proposal
# bits; every format has more, and a data line in place of the clock has fewer edges
SHORT = 16
OTHER = {"rising": "falling", "falling": "rising"}
COMPARE = "Then compare with its display in two places: twice or half is the other edge"
# what comes, and what to do about it
EDGES_MISSED = (
    "edges were missed in {missed} of {frames} frames",
    "shorter wires, less to do for this computer, or a microcontroller between (profile"
    " bridge)",
)
SWAPPED = (
    "frames of {sizes} bits come, too few or never alike",
    "data and clock may be changed over: change the two pin numbers in the settings;"
    " then the ground",
)
STUCK = (
    "frames of {size} bits come, and every bit is {bit}",
    "move it off zero and look again: if nothing changes, the data line is open or"
    " held",
)
UNKNOWN = (
    "frames of {size} bits come, which no format here has",
    "keep them for a report: `sweepgauge capture`, and say what the display showed",
)
TRY_OTHER_EDGE = (
    "frames of {size} bits come, as {format} has, and are not read, neither as they are"
    " nor inverted",
    'try the other edge of the clock: edge = "{edge}"; then check the ground and the'
    " length of the wires",
)
ALL_BITS = set("01")


def is_bits(data: bytes) -> bool:
    """Whether these are frames of bits from pins: 0 and 1, `?` where edges were
    missed."""
    rows = _rows(data)
    return bool(rows) and all(set(row) <= ALL_BITS | {"?"} for row in rows)


def diagnose(name: str, options: Mapping[str, object], text: bytes) -> Diagnosis | None:
    """Why the decoder of format `name` does not read this text; None where that is not
    known."""
    known = FORMATS[name]
    if known.frame_bits:
        return diagnose_bits(text, name, options)
    return known.diagnose(options, text) if known.diagnose is not None else None


def diagnose_bits(
    data: bytes, name: str, options: Mapping[str, object]
) -> Diagnosis | None:
    """Frames, one a line, that format `name` with its options does not read; None where
    there are none.

    Raises FormatError for a format or an option that is not known.
    """
    given = read_options(name, options)
    if not (rows := _rows(data)):
        return None
    sizes = Counter(map(len, rows))
    size, many = sizes.most_common(1)[0]
    alike = [row for row in rows if len(row) == size]
    example = f"{many} of {len(rows)} frames have {size} bits, such as {alike[-1]}"
    found = next((one.name for one in FORMATS.values() if one.frame_bits == size), None)
    cause = _no_frames(rows, alike)
    invert = None
    if cause is None and found is not None:
        invert = _inverted(alike, found, name, given)
    if found is not None and invert is not None:
        return _proposal(found, invert, size, example)
    cause = cause or (TRY_OTHER_EDGE if found is not None else UNKNOWN)
    told = {
        "missed": sum("?" in row for row in rows),
        "frames": len(rows),
        "size": size,
        "sizes": ", ".join(f"{bits}" for bits, _ in sizes.most_common(4)),
        "bit": alike[0][0],
        "format": found,
        "edge": OTHER[str(given.get("edge", "falling"))],
    }
    words, advice = (text.format(**told) for text in cause)
    return Diagnosis(words, advice, (example,))


def _no_frames(rows: list[str], alike: list[str]) -> tuple[str, str] | None:
    """What comes where it is no frames of one length with changing bits; None where it
    is."""
    if sum("?" in row for row in rows) > len(rows) / 10:
        return EDGES_MISSED
    # this comes first: with the wires swapped the frames may be all alike
    if len(alike) < ALIKE_SHARE * len(rows) or len(alike[0]) < SHORT:
        return SWAPPED
    return STUCK if len(set("".join(alike))) == 1 else None


def _inverted(
    rows: list[str], found: str, name: str, given: Mapping[str, object]
) -> bool | None:
    """How format `found` reads the frames, otherwise than format `name` as given; None
    where it does not."""
    own = found == name and bool(given.get("invert", False))
    for invert in (own, not own):
        if (found, invert) != (name, own) and _share(rows, found, invert) >= READ_SHARE:
            return invert
    return None


def _proposal(found: str, invert: bool, size: int, example: str) -> Diagnosis:
    """The settings with which format `found` reads the frames."""
    edge = str(read_options(found, {})["edge"])
    words, advice = f"frames of {size} bits come", f"as {found} they are read"
    if not FORMATS[found].redundant:
        any_bits = (
            f"any {size} bits can be read: whether they are inverted only the display"
            " tells"
        )
        only: dict[str, Value] = {"format": found}
        return Diagnosis(words, advice, (example, any_bits), only, COMPARE)
    # what inverts the data inverts the clock too: the bit is valid at its other edge
    if invert:
        edge = OTHER[edge]
    proposal: dict[str, Value] = {"format": found, "invert": invert, "edge": edge}
    return Diagnosis(words, advice, (example,), proposal, COMPARE)


def _rows(data: bytes) -> list[str]:
    """The frames, without the last one where it is cut."""
    *whole, last = (
        data.decode("ascii", "replace").replace(" ", "").replace("\r", "").split("\n")
    )
    rows = [row for row in whole if row]
    return rows if rows or not last else [last]


def _share(rows: list[str], name: str, invert: bool) -> float:
    try:
        decoder = make_decoder(name, {"invert": invert})
    except FormatError:
        return 0.0
    records = decoder.feed("".join(f"{row}\n" for row in rows).encode())
    return sum(record.fault is None for record in records) / len(rows)
