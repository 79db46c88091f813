"""The other way round: a length in mm -> the bytes an instrument would send, for every wire format.

Used by the virtual saw's instruments and to prove the decoders.

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

from hw.formats import FORMATS, read_options
from hw.formats.line.bridge import SEQUENCES, checksum
from hw.formats.modbus_rtu import crc16
from hw.formats.shared.cutter import parity_table
from hw.formats.shared.lengths import to_mm
from hw.formats.shared.options import boolean, choice, exact_ratio, integer
from hw.formats.sync48 import COUNTS_PER_INCH
from hw.reading import FormatError

Encoder = Callable[[float], bytes]

OWN = {
    "resolution": lambda given: given,
    "send_unit": boolean,
    "mode": choice(*"AMLTamlt "),
    "digits": integer(6, 8),
}


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


def _resolution(own: Mapping[str, Any], inch: bool = False) -> object:
    return own.get("resolution", "0.0001 in" if inch else "0.001 mm")


def _agrees(shown: Display, unit: str) -> None:
    if shown.inch != (unit == "inch"):
        raise FormatError(f"the resolution is not in {unit}, which is the unit that a line without one has")


# ASCII lines


def _plain(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(_resolution(own, options["default_unit"] == "inch"), least=options["decimals"] or 1)
    point = options["decimals"] is None
    unit = ", in\r\n" if shown.inch else ", mm\r\n"
    if not own.get("send_unit", True):
        _agrees(shown, options["default_unit"])
        unit = "\r"

    def encode(mm: float) -> bytes:
        sign, digits = shown.text(mm, 8, point)
        return f"{sign}{digits}{unit}".encode()

    return encode


def _code_channel_item(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(_resolution(own, options["default_unit"] == "inch"), least=1)
    _agrees(shown, options["default_unit"])
    return lambda mm: ("01A" + "".join(shown.text(mm, 8)) + "\r").encode()


def _mux(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(_resolution(own), least=1)
    head, tail = f"{options['channel'] or 1} MW", " inch\r\n" if shown.inch else " mm\r\n"
    return lambda mm: (head + "".join(shown.text(mm, 8)) + tail).encode()


def _mode_letter(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(_resolution(own), least=1)
    mode, unit = own.get("mode", " "), "I" if shown.inch else "M"

    def encode(mm: float) -> bytes:
        sign, digits = shown.text(mm)
        return f"{mode}{sign} {digits}{unit}  \n".encode()

    return encode


def _bridge_counts(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(own.get("resolution", "0.005 mm"))
    step, axis = to_mm(*shown), options["axis"] or "X"
    return lambda mm: f"{axis}{round(mm / step)};".encode()


class BridgeEncoder:
    """Profile `bridge`: each line is one up in its sequence; the clock is the caller's, or 1 ms a line."""

    def __init__(self, word: Callable[[float], str]) -> None:
        self._word = word
        self._sequence = 0

    def __call__(self, mm: float, counts: int = 0, device_us: int | None = None) -> bytes:
        """mm: of the gauge; counts: of the travel; device_us: of the microcontroller's clock."""
        sequence = self._sequence % SEQUENCES
        time = (1000 * self._sequence if device_us is None else device_us) % (1 << 32)
        self._sequence += 1
        return bridge_line(sequence, time, counts, self._word(mm))


def bridge_line(sequence: int, device_us: int, counts: int, word: str) -> bytes:
    """One line of profile `bridge` with a ready gauge word."""
    body = f"BRG,{sequence},{device_us},{counts},{word}"
    return f"${body}*{checksum(body)}\r\n".encode()


def _bridge(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    if options["gauge"] != "decimal":
        frame = make_encoder(options["gauge"], {key: own[key] for key in ("resolution",) if key in own})
        return BridgeEncoder(lambda mm: bits_to_nibbles(frame(mm).decode().strip()))
    shown = display(_resolution(own, options["default_unit"] == "inch"), least=1)
    unit = "in" if shown.inch else "mm"
    return BridgeEncoder(lambda mm: "".join(shown.text(mm)) + unit)


LINE_ENCODERS = {
    "plain": _plain,
    "code_channel_item": _code_channel_item,
    "mux": _mux,
    "mode_letter": _mode_letter,
    "bridge_counts": _bridge_counts,
    "bridge": _bridge,
}


def _line(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    encode = LINE_ENCODERS[options["profile"]](options, own)
    if options["parity7"] is None:
        return encode
    table = parity_table(options["parity7"])  # 0xff marks the bytes whose parity is wrong
    add = bytes(byte if table[byte] < 0x80 else byte | 0x80 for byte in range(128)) + bytes(range(128, 256))
    return lambda mm: encode(mm).translate(add)


# Frames of bits


def bits_of(number: int, size: int) -> str:
    """A number as bits in order of arrival, least significant first."""
    return f"{number:0{size}b}"[::-1]


def bits_to_nibbles(bits: str) -> str:
    """Bits in order of arrival -> hexadecimal digits in order of arrival."""
    return "".join(f"{int(bits[place : place + 4][::-1], 2):X}" for place in range(0, len(bits), 4))


def _framed(bits: Callable[[float], str], options: Mapping[str, Any]) -> Encoder:
    complement = str.maketrans("01", "10")
    if options["invert"]:
        return lambda mm: (bits(mm).translate(complement) + "\n").encode()
    return lambda mm: (bits(mm) + "\n").encode()


def _fits(count: int, largest: int, mm: float) -> int:
    if abs(count) > largest:
        raise ValueError(f"{mm:g} mm does not fit into the frame")
    return count


def _fixed_step(own: Mapping[str, Any], mm_step: str, inch_step: str) -> Display:
    """A display whose steps are whole multiples of the format's own."""
    shown = display(own.get("resolution", mm_step))
    step = display(inch_step if shown.inch else mm_step)
    if shown.decimals > step.decimals or shown.digits * 10 ** (step.decimals - shown.decimals) % step.digits:
        raise FormatError(f"the resolution is no whole multiple of {inch_step if shown.inch else mm_step}")
    return shown._replace(
        digits=shown.digits * 10 ** (step.decimals - shown.decimals), decimals=step.decimals
    )


def _sync52(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown, width = display(_resolution(own)), own.get("digits", 6)

    def bits(mm: float) -> str:
        last = _fits(shown.last_places(mm), 10**width - 1, mm)
        digits = f"{abs(last):0{width}d}"
        head = {6: "FFFF", 7: f"FFF{digits[:1]}", 8: f"8F{digits[:2]}"}[width]
        frame = f"{head}{8 if last < 0 else 0}{digits[-6:]}{shown.decimals}{int(shown.inch)}"
        return "".join(bits_of(int(nibble, 16), 4) for nibble in frame)

    return _framed(bits, options)


def _sync24(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = _fixed_step(own, "0.01 mm", "0.0005 in")

    def bits(mm: float) -> str:
        counts = shown.last_places(mm) // (5 if shown.inch else 1)
        magnitude = bits_of(abs(_fits(counts, (1 << 20) - 1, mm)), 20)
        return f"{magnitude}{int(counts < 0)}00{int(shown.inch)}"

    return _framed(bits, options)


def _sync48(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    if "resolution" in own:
        raise FormatError("sync48 always counts 20480 to the inch; it takes no resolution")

    def bits(mm: float) -> str:
        counts = _fits(round(mm * (10 * COUNTS_PER_INCH) / 254), (1 << 23) - 1, mm)
        second = {"negated": -counts, "inverted": ~counts, "plain": counts}[options["sign"]]
        words = [bits_of(word % (1 << 24), 24) for word in (counts, second)]
        return "".join(reversed(words) if options["order"] == "display_first" else words)

    return _framed(bits, options)


def _bcd28(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = _fixed_step(own, "0.01 mm", "0.0005 in")

    def bits(mm: float) -> str:
        last = shown.last_places(mm)
        half = shown.inch and abs(last) % 10 == 5
        digits = _fits(abs(last) // (10 if shown.inch else 1), 999_999, mm)
        flags = (last < 0) + 2 * half + 4 * (not shown.inch)
        frame = [int(digit) for digit in reversed(f"{digits:06d}")] + [flags]
        return "".join(bits_of(nibble, 4) for nibble in frame)

    return _framed(bits, options)


# Other framed formats


class QuadEncoder:
    """Format `quad_x4`: the states passed on the way from the last position to the next, both ends told."""

    def __init__(self, step: float) -> None:
        self._step = step
        self._counts = 0

    def __call__(self, mm: float) -> bytes:
        before, self._counts = self._counts, round(mm / self._step)
        way = 1 if self._counts >= before else -1
        return "".join("0231"[count % 4] for count in range(before, self._counts + way, way)).encode() + b"\n"


def _quad_x4(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    return QuadEncoder(to_mm(*display(own.get("resolution", "0.005 mm"))))


_KEYS = {"-": "KEY_MINUS", "+": "KEY_KPPLUS", ".": "KEY_DOT"}


def _wedge(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    shown = display(_resolution(own, options["default_unit"] == "inch"), least=options["decimals"] or 1)
    _agrees(shown, options["default_unit"])
    point, end = options["decimals"] is None, f"KEY_{options['terminator']}\n"

    def encode(mm: float) -> bytes:
        sign, digits = shown.text(mm, point=point)
        text = digits if sign == "+" else sign + digits
        return " ".join([*(_KEYS.get(character, f"KEY_{character}") for character in text), end]).encode()

    return encode


def _modbus_rtu(options: Mapping[str, Any], own: Mapping[str, Any]) -> Encoder:
    if "resolution" in own:
        raise FormatError("modbus_rtu counts by its option scale_mm; it takes no resolution")
    above, below = options["scale_mm"]

    def encode(mm: float) -> bytes:
        counts = _fits(round(mm * below / above), (1 << 31) - 1, mm)
        four = counts.to_bytes(4, "big", signed=True)
        if options["words"] == "lo_hi":
            four = four[2:] + four[:2]
        body = bytes([options["address"], options["function"], 4]) + four
        return (body + crc16(body)).hex(" ").encode() + b"\n"

    return encode


ENCODERS = {
    "line": _line,
    "sync52": _sync52,
    "sync24": _sync24,
    "sync48": _sync48,
    "bcd28": _bcd28,
    "quad_x4": _quad_x4,
    "wedge": _wedge,
    "modbus_rtu": _modbus_rtu,
}
"""What makes the encoder of each format from its full options and our own."""


def make_encoder(name: str, options: Mapping[str, object] | None = None) -> Encoder:
    """A fresh encoder of format `name`: mm -> bytes; it raises ValueError for what does not fit the frame.

    Raises FormatError for an unknown format, option or value.
    """
    if name not in ENCODERS:
        raise FormatError(f"unknown format {name!r}; known are {', '.join(FORMATS)}")
    given = dict(options or {})
    own = {}
    for key in OWN.keys() & given.keys():
        value = given.pop(key)
        try:
            own[key] = OWN[key](value)
        except ValueError as error:
            raise FormatError(f"option {key} is {value!r}; it takes {error}") from None
    return ENCODERS[name](read_options(name, given), own)
