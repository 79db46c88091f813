"""The declaration of a wire format, which each format's own file makes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple, cast

import msgspec

from hw.formats.shared.options import FormatOption
from hw.reading import Decoder

Options = Mapping[str, Any]
Value = str | int


class PortKind(NamedTuple):
    """What an instrument is wired to.

    folder: of its stable names. group: whose members may open it; opens: what the group
    opens, in words. serial_line: it has a baud rate, bits and a parity, and another
    program may hold it. daemon_only: why only the daemon reads it; empty where others
    may. when_silent: the advice then.
    """

    name: Literal["serial", "registers", "keys", "pins"]
    folder: str
    group: str
    opens: str
    serial_line: bool = False
    daemon_only: str = ""
    when_silent: str = ""


SERIAL = PortKind(
    "serial", "/dev/serial/by-id", "dialout", "serial ports", serial_line=True
)
REGISTERS = SERIAL._replace(
    name="registers",
    when_silent=(
        "is it switched on, are address and speed its own, are the two wires the right"
        " way round?"
    ),
)
KEYBOARD = PortKind(
    "keys",
    "/dev/input/by-id",
    "input",
    "keyboards",
    daemon_only="types like a keyboard",
    when_silent="press its button; is it the right name under /dev/input/by-id?",
)
PINS = PortKind("pins", "/dev", "gpio", "the pins", daemon_only="is on pins")


class RecordTraits(NamedTuple):
    """Traits of the records of a format, or of one of its profiles.

    counts: each record gives the position of a scale, or its change since the last;
    None: it sends no counts. gauge: a record may hold a gauge's value.
    undetected_errors: without a checksum a wrong reading may be well formed.
    device_clock: a record carries the time of the device. needs: options that must be
    given, with an example each.
    """

    counts: Literal["position", "change"] | None = None
    gauge: bool = True
    undetected_errors: bool = True
    device_clock: bool = False
    needs: Mapping[str, str] = {}

    @property
    def gauge_and_counts(self) -> bool:
        """A record holds a gauge's value and a scale's counts."""
        return self.gauge and self.counts is not None


class Candidate(NamedTuple):
    """Options that may read the bytes of a line. complete: more bytes would add no
    option."""

    options: Mapping[str, Value] = {}
    evidence: tuple[str, ...] = ()
    complete: bool = True


class Diagnosis(NamedTuple):
    """Why a text is not read. words: what comes. proposal: keys of the settings, None
    where nothing fits; follow_up: what to do once they are written."""

    words: str
    advice: str
    evidence: tuple[str, ...] = ()
    proposal: Mapping[str, Value] | None = None
    follow_up: str = ""


class Query(NamedTuple):
    """The request of a device that only answers. request: made from the options. whole:
    whether an answer has ended. bits: of the longest answer. rate: requests a second,
    where the settings name none.
    """

    request: Callable[[Options], bytes]
    whole: Callable[[bytes], bool]
    bits: int
    rate: float = 20.0

    @staticmethod
    def to_text(answer: bytes) -> bytes:
        """An answer as the decoder takes it: a line in hexadecimal."""
        return answer.hex().encode() + b"\n" if answer else b""

    @staticmethod
    def from_text(text: bytes) -> bytes:
        """The bytes of all whole lines; a line that is cut is left out."""
        rows = text.split()
        return b"".join(bytes.fromhex(row.decode()) for row in rows if _is_hex(row))


def _is_hex(row: bytes) -> bool:
    return len(row) % 2 == 0 and not row.strip(b"0123456789abcdef")


def maker(decoder: type[Any]) -> Callable[[Options], Decoder]:
    """Makes a decoder from a full set of options: it gets those of its keywords."""
    keywords: dict[str, object] = decoder.__init__.__kwdefaults__
    return lambda options: cast(Decoder, decoder(**{k: options[k] for k in keywords}))


class WireFormat(msgspec.Struct, frozen=True, kw_only=True):
    """One wire format.

    words: a line for help. make: a full set of options -> a fresh decoder. port: its
    kind of port. wires: names of its pins, the first two of them needed. traits: of its
    records; profiles: of those of each profile. statuses: its words for "no reading",
    each with (meaning, advice). query: None where it sends by itself. frame_bits: of
    a frame of fixed length, whose decoder has `read(bits)`; redundant: some such frames
    are invalid. pattern: a regular expression that matches its text from the beginning.
    candidates: bytes of a line -> options to try. diagnose: options and text that is
    not read -> why. diagnose_values: options and values, mm, that are read -> what
    contradicts them.
    """

    name: str
    words: str
    make: Callable[[Options], Decoder]
    options: tuple[FormatOption, ...] = ()
    port: PortKind = SERIAL
    wires: tuple[str, ...] = ()
    traits: RecordTraits = RecordTraits()
    profiles: Mapping[str, RecordTraits] = {}
    statuses: Mapping[str, tuple[str, str]] = {}
    query: Query | None = None
    frame_bits: int = 0
    redundant: bool = True
    pattern: bytes = b""
    candidates: Callable[[bytes], Iterable[Candidate]] = lambda data: (Candidate(),)
    diagnose: Callable[[Options, bytes], Diagnosis | None] | None = None
    diagnose_values: Callable[[Options, Sequence[float]], Diagnosis | None] | None = (
        None
    )

    @property
    def option_names(self) -> tuple[str, ...]:
        return tuple(option.name for option in self.options)

    def traits_of(self, profile: object) -> RecordTraits:
        return self.profiles.get(str(profile), self.traits)
