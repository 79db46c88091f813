"""Frames of bits that are not read as the settings say, and what would read them.

The number of bits in a frame, and whether a format reads them, decide the proposal. The
bits cannot tell at which edge of the clock they are valid; only the display can.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from hw.formats import FORMATS, make_decoder, read_options
from hw.formats.shared.declaration import Diagnosis, Value
from hw.reading import FormatError

ALIKE_SHARE = 0.8  # of the frames that must have the same length
READ_SHARE = 0.9  # of those frames that a format must read for a proposal
# bits; every format has more, and a data line in place of the clock has fewer edges
SHORT = 16
OTHER = {"rising": "falling", "falling": "rising"}
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
    sizes = Counter(len(row) for row in rows)
    size, many = sizes.most_common(1)[0]
    alike = [row for row in rows if len(row) == size]
    example = f"{many} of {len(rows)} frames have {size} bits, such as {alike[-1]}"
    unread = _no_frames(rows, sizes, alike, example)
    if unread is not None:
        return unread
    found = next((one.name for one in FORMATS.values() if one.frame_bits == size), None)
    if found is None:
        return Diagnosis(
            f"frames of {size} bits come, which no format here has",
            "keep them for a report: `sweepgauge capture`, and say what the display"
            " showed",
            (example,),
        )
    own = bool(given.get("invert", False)) if found == name else False
    for invert in (own, not own):
        if (found, invert) != (name, own) and _share(
            alike, found, invert
        ) >= READ_SHARE:
            return _proposal(found, invert, size, example)
    other = OTHER[str(given.get("edge", "falling"))]
    return Diagnosis(
        f"frames of {size} bits come, as {found} has, and are not read, neither as they"
        " are nor inverted",
        f'try the other edge of the clock: edge = "{other}"; then check the ground and'
        " the length of the wires",
        (example,),
    )


def _no_frames(
    rows: list[str], sizes: Counter[int], alike: list[str], example: str
) -> Diagnosis | None:
    """What comes where it is no frames of one length with changing bits; None where it
    is."""
    missed = sum("?" in row for row in rows)
    if missed > len(rows) / 10:
        return Diagnosis(
            f"edges were missed in {missed} of {len(rows)} frames",
            "shorter wires, less to do for this computer, or a microcontroller between"
            " (profile bridge)",
        )
    size = len(alike[0])
    # this comes first: with the wires swapped the frames may be all alike
    if len(alike) < ALIKE_SHARE * len(rows) or size < SHORT:
        lengths = ", ".join(f"{bits}" for bits, _ in sizes.most_common(4))
        return Diagnosis(
            f"frames of {lengths} bits come, too few or never alike",
            "data and clock may be changed over: change the two pin numbers in the"
            " settings; then the ground",
            (example,),
        )
    if len(set("".join(alike))) == 1:
        return Diagnosis(
            f"frames of {size} bits come, and every bit is {alike[0][0]}",
            "move it off zero and look again: if nothing changes, the data line is open"
            " or held",
            (example,),
        )
    return None


def _proposal(found: str, invert: bool, size: int, example: str) -> Diagnosis:
    """The settings with which format `found` reads the frames."""
    edge = str(read_options(found, {})["edge"])
    evidence: tuple[str, ...] = (example,)
    # what inverts the data inverts the clock too: the bit is valid at its other edge
    proposal: dict[str, Value] = {
        "format": found,
        "invert": invert,
        "edge": OTHER[edge] if invert else edge,
    }
    if not FORMATS[found].redundant:
        proposal = {"format": found}
        evidence += (
            f"any {size} bits can be read: whether they are inverted only the display"
            " tells",
        )
    return Diagnosis(
        f"frames of {size} bits come",
        f"as {found} they are read",
        evidence,
        proposal,
        "Then compare with its display in two places: twice or half is the other edge",
    )


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
