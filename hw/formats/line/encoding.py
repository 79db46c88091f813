"""A length in mm -> the lines that instruments of each profile send."""

from __future__ import annotations

from collections.abc import Callable

from hw.formats import make_encoder
from hw.formats.line.bridge import SEQUENCES, checksum
from hw.formats.shared.cutter import with_parity
from hw.formats.shared.declaration import Encoder, Options
from hw.formats.shared.encoding import agrees, display, resolution
from hw.formats.shared.lengths import to_mm


def _plain(options: Options, own: Options) -> Encoder:
    shown = display(resolution(own, options["default_unit"] == "inch"), least=options["decimals"] or 1)
    point = options["decimals"] is None
    unit = ", in\r\n" if shown.inch else ", mm\r\n"
    if not own.get("send_unit", True):
        agrees(shown, options["default_unit"])
        unit = "\r"

    def encode(mm: float) -> bytes:
        sign, digits = shown.text(mm, 8, point)
        return f"{sign}{digits}{unit}".encode()

    return encode


def _code_channel_item(options: Options, own: Options) -> Encoder:
    shown = display(resolution(own, options["default_unit"] == "inch"), least=1)
    agrees(shown, options["default_unit"])
    return lambda mm: ("01A" + "".join(shown.text(mm, 8)) + "\r").encode()


def _mux(options: Options, own: Options) -> Encoder:
    shown = display(resolution(own), least=1)
    head, tail = f"{options['channel'] or 1} MW", " inch\r\n" if shown.inch else " mm\r\n"
    return lambda mm: (head + "".join(shown.text(mm, 8)) + tail).encode()


def _mode_letter(options: Options, own: Options) -> Encoder:
    shown = display(resolution(own), least=1)
    mode, unit = own.get("mode", " "), "I" if shown.inch else "M"

    def encode(mm: float) -> bytes:
        sign, digits = shown.text(mm)
        return f"{mode}{sign} {digits}{unit}  \n".encode()

    return encode


def _bridge_counts(options: Options, own: Options) -> Encoder:
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


def _bridge(options: Options, own: Options) -> Encoder:
    if options["gauge"] != "decimal":
        frame = make_encoder(options["gauge"], {key: own[key] for key in ("resolution",) if key in own})
        return BridgeEncoder(lambda mm: bits_to_nibbles(frame(mm).decode().strip()))
    shown = display(resolution(own, options["default_unit"] == "inch"), least=1)
    unit = "in" if shown.inch else "mm"
    return BridgeEncoder(lambda mm: "".join(shown.text(mm)) + unit)


def bits_to_nibbles(bits: str) -> str:
    """Bits in order of arrival -> hexadecimal digits in order of arrival."""
    return "".join(f"{int(bits[place : place + 4][::-1], 2):X}" for place in range(0, len(bits), 4))


LINE_ENCODERS = {
    "plain": _plain,
    "code_channel_item": _code_channel_item,
    "mux": _mux,
    "mode_letter": _mode_letter,
    "bridge_counts": _bridge_counts,
    "bridge": _bridge,
}


def make(options: Options, own: Options) -> Encoder:
    """The encoder for a full set of options and those of the display."""
    encode = LINE_ENCODERS[options["profile"]](options, own)
    if options["parity7"] is None:
        return encode
    return lambda mm: with_parity(encode(mm), options["parity7"])
