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
    rows = _rows(data)
    if not rows:
        return None
    given = read_options(name, options)
    missed = sum("?" in row for row in rows)
    if missed > len(rows) / 10:
        return Diagnosis(
            f"edges were missed in {missed} of {len(rows)} frames",
            "shorter wires, less to do for this computer, or a microcontroller between"
            " (profile bridge)",
        )
    sizes = Counter(len(row) for row in rows)
    size, many = sizes.most_common(1)[0]
    alike = [row for row in rows if len(row) == size]
    seen: tuple[str, ...] = (
        f"{many} of {len(rows)} frames have {size} bits, such as {alike[-1]}",
    )
    if (
        many < ALIKE_SHARE * len(rows) or size < SHORT
    ):  # this comes first: with the wires swapped the frames may be all alike
        lengths = ", ".join(f"{bits}" for bits, _ in sizes.most_common(4))
        return Diagnosis(
            f"frames of {lengths} bits come, too few or never alike",
            "data and clock may be changed over: change the two pin numbers in the"
            " settings; then the ground",
            seen,
        )
    if len(set("".join(alike))) == 1:
        return Diagnosis(
            f"frames of {size} bits come, and every bit is {alike[0][0]}",
            "move it off zero and look again: if nothing changes, the data line is open"
            " or held",
            seen,
        )
    found = next((one.name for one in FORMATS.values() if one.frame_bits == size), None)
    if found is None:
        return Diagnosis(
            f"frames of {size} bits come, which no format here has",
            "keep them for a report: `sweepgauge capture`, and say what the display"
            " showed",
            seen,
        )
    own = bool(given.get("invert", False)) if found == name else False
    for invert in (own, not own):
        if _share(alike, found, invert) >= READ_SHARE and (found, invert) != (
            name,
            own,
        ):
            edge = str(read_options(found, {})["edge"])
            # what inverts the data inverts the clock too, so that the bit is valid at
            # its other edge
            proposal: dict[str, Value] = {"format": found, "invert": invert}
            proposal["edge"] = OTHER[edge] if invert else edge
            if not FORMATS[found].redundant:
                proposal = {"format": found}
                seen = (
                    *seen,
                    (
                        f"any {size} bits can be read: whether they are inverted only"
                        " the display tells"
                    ),
                )
            compare = (
                "Then compare with its display in two places: twice or half is the"
                " other edge"
            )
            return Diagnosis(
                f"frames of {size} bits come",
                f"as {found} they are read",
                seen,
                proposal,
                compare,
            )
    other = OTHER[str(given.get("edge", "falling"))]
    return Diagnosis(
        f"frames of {size} bits come, as {found} has, and are not read, neither as they"
        " are nor inverted",
        f'try the other edge of the clock: edge = "{other}"; then check the ground and'
        " the length of the wires",
        seen,
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
