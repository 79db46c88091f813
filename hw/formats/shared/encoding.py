"""What the encoders share: a length in mm -> the digits that an instrument would show.

An encoder takes mm and gives what `decode` of that format takes: bytes of a stream, or one frame as a line
of text. A display shows whole steps, so every encoder rounds once to a whole number of them and writes
digits from that number. Options are the decoder's own, and besides:

    resolution   the display's step: mm, or text such as "0.001 mm" or "0.0005 in"; its unit is the display's
    send_unit    plain: write the unit (true), or end the line after the number as some instruments do
    mode         mode_letter: the letter or blank at the front
    digits       sync52: 6, or 7 or 8 with the leading digits in d3 and d4
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from hw.formats.shared.declaration import Encoder, Options
from hw.formats.shared.lengths import to_mm
from hw.formats.shared.options import boolean, choice, exact_ratio, integer
from hw.reading import FormatError

OWN = {
    "resolution": lambda given: given,
    "send_unit": boolean,
    "mode": choice(*"AMLTamlt "),
    "digits": integer(6, 8),
}


def display_options(options: Mapping[str, object]) -> tuple[dict[str, Any], dict[str, object]]:
    """The options of the display, read, and all the others."""
    given = dict(options)
    own = {}
    for key in OWN.keys() & given.keys():
        value = given.pop(key)
        try:
            own[key] = OWN[key](value)
        except ValueError as error:
            raise FormatError(f"option {key} is {value!r}; it takes {error}") from None
    return own, given


class Display(NamedTuple):
    """What a display can show: whole steps of `digits` in the last of `decimals` places, in mm or inch."""

    digits: int
    decimals: int
    inch: bool

    def last_places(self, mm: float) -> int:
        """mm -> the number shown, in units of its last place."""
        return round(mm / to_mm(self.digits, self.decimals, self.inch)) * self.digits

    def shown(self, mm: float) -> float:
        """mm -> the value shown, mm."""
        return to_mm(self.last_places(mm), self.decimals, self.inch)

    def text(self, mm: float, width: int = 0, point: bool = True) -> tuple[str, str]:
        """mm -> the sign, and the digits, with zeros in front up to `width` characters."""
        last = self.last_places(mm)
        digits = f"{abs(last):0{max(width - point, self.decimals + 1)}d}"
        if point:
            cut = len(digits) - self.decimals
            digits = f"{digits[:cut]}.{digits[cut:]}"
        if width and len(digits) > width:
            raise ValueError(f"{mm:g} mm does not fit into {width} characters")
        return "-" if last < 0 else "+", digits


def display(resolution: object, least: int = 0, most: int = 5) -> Display:
    """The display of a resolution (mm, or text with mm or in), of `least` to `most` decimals."""
    number, unit = str(resolution), "mm"
    if isinstance(resolution, str) and " " in resolution:
        number, _, unit = resolution.partition(" ")
    try:
        above, below = exact_ratio(number)
    except ValueError as error:
        raise FormatError(f"resolution {resolution!r}: it takes {error}, in mm or in") from None
    decimals = least
    while decimals < most and above * 10**decimals % below:
        decimals += 1
    if above * 10**decimals % below or unit not in {"mm", "in"}:
        raise FormatError(f"resolution {resolution!r}: it takes at most {most} decimals, in mm or in")
    return Display(above * 10**decimals // below, decimals, unit == "in")


def resolution(own: Options, inch: bool = False) -> object:
    return own.get("resolution", "0.0001 in" if inch else "0.001 mm")


def agrees(shown: Display, unit: str) -> None:
    if shown.inch != (unit == "inch"):
        raise FormatError(f"the resolution is not in {unit}, which is the unit that a line without one has")


def bits_of(number: int, size: int) -> str:
    """A number as bits in order of arrival, least significant first."""
    return f"{number:0{size}b}"[::-1]


def framed(bits: Callable[[float], str], options: Options) -> Encoder:
    complement = str.maketrans("01", "10")
    if options["invert"]:
        return lambda mm: (bits(mm).translate(complement) + "\n").encode()
    return lambda mm: (bits(mm) + "\n").encode()


def fits(count: int, largest: int, mm: float) -> int:
    if abs(count) > largest:
        raise ValueError(f"{mm:g} mm does not fit into the frame")
    return count


def fixed_step(own: Options, mm_step: str, inch_step: str) -> Display:
    """A display whose steps are whole multiples of the format's own."""
    shown = display(own.get("resolution", mm_step))
    step = display(inch_step if shown.inch else mm_step)
    if shown.decimals > step.decimals or shown.digits * 10 ** (step.decimals - shown.decimals) % step.digits:
        raise FormatError(f"the resolution is no whole multiple of {inch_step if shown.inch else mm_step}")
    return shown._replace(
        digits=shown.digits * 10 ** (step.decimals - shown.decimals), decimals=step.decimals
    )
