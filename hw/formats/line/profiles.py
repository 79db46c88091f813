"""Profiles of format `line` with a fixed shape: code_channel_item, mux, mode_letter.

    code_channel_item   01A+00.12345        code, sign, eight with a point; no unit
                        911                 an error code: 91 and one more (from memory)
    mux                 1 MW+003.4665 inch  channel, MW, a blank or none, sign,
                                            eight characters, unit
                        3 TO 999999.99 mm   the gauge on this channel did not answer
    mode_letter         "a- 0.125MU "       mode or blank, sign, blank, value, M or I,
                                            tolerance letter or blank, blank

As the shape is fixed, a line of another length has lost a byte, and is rejected.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from hw.formats.shared.lengths import to_mm
from hw.formats.shared.plain_text import (
    UNIT_OF,
    UNIT_WORDS,
    Fault,
    Number,
    find_number,
    status_word,
)
from hw.formats.shared.wire_format import Options
from hw.reading import Record, Unit

VALUE = 8  # characters of a value after its sign, the point among them

_ERROR_CODE = re.compile(r"91[0-9A-Z]")
_MUX = re.compile(r"([1-4]) (MW|TO) ?")
_NO_ANSWER = re.compile(r"[+-]?999999[.,]99 (.*)")
_MODE = re.compile(r"([AMLTamlt ])(?=[+-] )")
_MODE_END = re.compile(r"([MI])([OU0 ]) ")

MODES = {"A": (), "M": ("max",), "L": ("min",), "T": ("tir",), " ": ()}
TOLERANCE = {"O": ("over",), "0": ("over",), "U": ("under",), " ": ()}


def reader(options: Options) -> Callable[[str], Record | None]:
    """The function that reads one line of a profile."""
    decimals, unit = options["decimals"], options["default_unit"]
    readers: dict[str, Callable[[str], Record | None]] = {
        "code_channel_item": lambda text: read_code_channel_item(text, decimals, unit),
        "mux": lambda text: read_mux(text, decimals, options["channel"]),
        "mode_letter": lambda text: read_mode_letter(text, decimals),
    }
    read = readers[options["profile"]]
    return lambda text: _no_reading(text) or read(text)


def _no_reading(text: str) -> Record | None:
    status = status_word(text.rstrip(" ")) if text.startswith("---") else None
    return None if status is None else Record(status=status)


def _signed_field(text: str, start: int, decimals: int | None) -> Number:
    """A sign and eight characters at `start`."""
    if text[start : start + 1] not in {"+", "-"}:
        raise Fault(f"no sign at character {start + 1}")
    number = find_number(text, start, decimals)
    if number.end - number.start != VALUE:
        raise Fault(
            f"the value has {number.end - number.start} characters, not {VALUE}"
        )
    return number


def _unit(text: str) -> Unit:
    unit = UNIT_OF.get(text)
    if unit is None:
        raise Fault(
            f"unknown unit {text!r}; a unit is one of {UNIT_WORDS}"
            if text
            else "the unit is missing"
        )
    return unit


def read_code_channel_item(
    text: str, decimals: int | None, default_unit: Unit
) -> Record:
    """One line; the unit is the profile's, and said so in the flags."""
    if _ERROR_CODE.fullmatch(text):
        return Record(status=f"error_{text}")
    if not text.startswith("01A"):
        raise Fault("the line does not begin with 01A")
    number = _signed_field(text, 3, decimals)
    if number.end != len(text):
        raise Fault(f"{text[number.end :]!r} is left over after the number")
    value = to_mm(number.digits, number.decimals, default_unit == "inch")
    return Record(value=value, unit=default_unit, flags=("default_unit",))


def read_mux(text: str, decimals: int | None, channel: int | None) -> Record | None:
    """One line; None when it is of another channel than `channel`."""
    head = _MUX.match(text)
    if head is None:
        raise Fault(
            "the line does not begin with a channel 1 to 4, a blank and MW or TO"
        )
    if head[2] == "TO":
        answer = _NO_ANSWER.fullmatch(text, head.end())
        if answer is None:
            raise Fault("TO without the value 999999.99 and a unit")
        record = Record(unit=_unit(answer[1]), status="gauge_error", channel=head[1])
    else:
        number = _signed_field(text, head.end(), decimals)
        if text[number.end : number.end + 1] not in {" ", ""}:
            raise Fault(f"{text[number.end :]!r} is left over after the number")
        unit = _unit(text[number.end + 1 :])
        value = to_mm(number.digits, number.decimals, unit == "inch")
        record = Record(value=value, unit=unit, channel=head[1])
    return record if channel in {None, int(head[1])} else None


def read_mode_letter(text: str, decimals: int | None) -> Record:
    """One line; an upper-case letter means that the reading is held."""
    head = _MODE.match(text)
    if head is None:
        raise Fault(
            "the line does not begin with a mode letter or blank, a sign and a blank"
        )
    number = find_number(text, 1, decimals)
    tail = _MODE_END.fullmatch(text, number.end)
    if tail is None:
        rest = text[number.end :]
        raise Fault(
            f"after the number stands {rest!r}, not M or I, a tolerance letter or"
            " blank, and a blank"
        )
    unit: Unit = "mm" if tail[1] == "M" else "inch"
    hold = ("hold",) if head[1].isupper() else ()
    flags = (*hold, *MODES[head[1].upper()], *TOLERANCE[tail[2]])
    return Record(
        value=to_mm(number.digits, number.decimals, unit == "inch"),
        unit=unit,
        flags=flags,
    )
