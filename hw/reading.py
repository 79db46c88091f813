"""The record of what an instrument sends, and the states of its port.

Every decoder in `hw.formats` yields `Record`s; the daemon stamps them.
"""

from __future__ import annotations

from typing import Literal, Protocol

import msgspec

Unit = Literal["mm", "inch"]


class Record(msgspec.Struct, frozen=True, gc=False):
    """One record of an instrument: exactly one of value, status, fault or counts is the
    answer.

    value: mm, converted once from the exact decimal text (25.4 exactly); None when
    there is none. unit: what the instrument itself showed; "mm" for counts. flags:
    remarks such as "hold", "default_unit", "judge_over". status: the device's own word
    that it has no reading ("no_reading", "gauge_error", ...). fault: why the frame was
    rejected; a rejected frame is never guessed at. raw: the frame's own bytes (for
    clocked formats its bits as ASCII 0 and 1). behind: bytes of the fed block that came
    after this record (for the stamp of its arrival). The rest
    only where the format has it. counts: of a scale's display, or of a microcontroller;
    counts_abs: since power-on. sequence: of a microcontroller's lines, 0 to 65535, one
    up with each. device_us: its clock, us, modulo 2**32.
    """

    value: float | None = None
    unit: Unit = "mm"
    flags: tuple[str, ...] = ()
    status: str | None = None
    fault: str | None = None
    raw: bytes = b""
    behind: int = 0
    channel: str | None = None
    axis: str | None = None
    counts: int | None = None
    illegal: int | None = None
    counts_abs: int | None = None
    sequence: int | None = None
    device_us: int | None = None


class Decoder(Protocol):
    """Bytes in, records out; pure, holds only the unfinished frame.

    For formats that come over a byte stream `feed` takes the bytes as they arrive. For
    clocked and other framed formats it takes the text form that `decode` reads: one
    frame a line.
    """

    rejects: int  # frames rejected so far

    def feed(self, data: bytes) -> list[Record]: ...

    def finish(self) -> list[Record]:
        """The input is over or the line fell silent: what can be said of the rest."""
        ...


class FormatError(ValueError):
    """An unknown format, profile or option; the message names it and what would do."""


PortState = Literal[
    "absent", "open", "busy", "denied", "silent", "no-reading", "garbled", "flooding"
]
