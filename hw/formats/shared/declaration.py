"""What a wire format declares of itself in its own file, as a `WireFormat`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple, cast

import msgspec

from hw.formats.shared.options import Option
from hw.reading import Decoder

Options = Mapping[str, Any]
Value = str | int


class PortKind(NamedTuple):
    """What an instrument is wired to.

    folder: where its stable names are. group: whose members may open it; opens: what
    they may open then. serial_line: it has a baud rate, bits and a parity, and another
    program may hold it. daemon_only: why nobody but the daemon reads it; empty where
    anybody may. when_silent: what to do then.
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
KEYS = PortKind(
    "keys",
    "/dev/input/by-id",
    "input",
    "keyboards",
    daemon_only="types like a keyboard",
    when_silent="press its button; is it the right name under /dev/input/by-id?",
)
PINS = PortKind("pins", "/dev", "gpio", "the pins", daemon_only="is on pins")


class RecordTraits(NamedTuple):
    """What the records of a format, or of one of its profiles, are like.

    counts: each record says where a scale is, or how far it went since the last; None:
    it sends no counts. gauge: a record may hold a gauge's value. undetected_errors: a
    wrong reading may be well formed, as there is no checksum. device_clock: a record
    carries the time of the device. needs: options that must be given, and what would
    do.
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
    """Options that may read what is heard on a line. complete: no more need be heard to
    tell what they should be."""

    options: Mapping[str, Value] = {}
    evidence: tuple[str, ...] = ()
    complete: bool = True


class Diagnosis(NamedTuple):
    """words: what is heard. do: the remedy. proposal: keys of the settings, None where
    nothing fits; then: what to do once it is written."""

    words: str
    do: str
    evidence: tuple[str, ...] = ()
    proposal: Mapping[str, Value] | None = None
    then: str = ""


class Query(NamedTuple):
    """How a device that only answers is asked. request: from the options. whole:
    whether an answer has ended.

    bits: of the longest answer on the line. rate: requests a second, where the settings
    do not say.
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

    words: a line for help. make: a full set of options -> a fresh decoder. port: what
    it is read from. wires: names of its pins, the first two of them needed. traits: of
    its records; profiles: of those of each profile. statuses: its words for "no
    reading", each with what it means and what to do. query: None for what sends by
    itself. frame_bits: of a frame of fixed length, whose decoder has `read(bits)`;
    redundant: not every such frame can be read. pattern: a regular expression that
    matches its text from the beginning. candidates: bytes heard on a line -> the
    options to try. diagnose: options and text that is not read -> why. diagnose_values:
    options and values, mm, that are read -> what speaks against them.
    """

    name: str
    words: str
    make: Callable[[Options], Decoder]
    options: tuple[Option, ...] = ()
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
