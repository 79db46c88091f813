"""What one wired port says in a moment, read as the daemon would read it, and what is
to be remarked of it.

Nothing is sent but what the settings name, or what the format itself asks with.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator

import msgspec

from bench.doctor.direct_port import (
    echo_of,
    open_port,
    read_block,
    request_of,
    request_rate,
)
from bench.doctor.matter import Matter, fault, told
from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS, make_decoder, meaning_of
from hw.formats.shared.declaration import Traits
from hw.reading import Record

LOOK = 0.05  # s
NOT_OF_THE_MOMENT = {"hold", "max", "min", "tir"}


class Taken(msgspec.Struct):
    """data: the bytes. times, values: of the readings, s and mm; good: how many, counts
    without a length too."""

    data: bytes = b""
    times: list[float] = []
    values: list[float] = []
    good: int = 0
    rejects: int = 0
    bare: int = 0  # lines with a count and nothing else
    counts_only: bool = False
    statuses: Counter[str] = msgspec.field(default_factory=Counter)
    flags: Counter[str] = msgspec.field(default_factory=Counter)
    channels: set[str] = msgspec.field(default_factory=set)  # that read
    # channels whose gauge does not answer
    mute: set[str] = msgspec.field(default_factory=set)
    # why frames were rejected
    faults: Counter[str] = msgspec.field(default_factory=Counter)
    echoes: int = 0  # of them, what was asked, sent back
    shortest: str = ""  # a rejected frame, to show
    axes: set[str] = msgspec.field(default_factory=set)
    shown: set[str] = msgspec.field(default_factory=set)  # units

    def add(self, record: Record, at: float, per_count: float | None) -> None:
        value = record.value
        if record.counts is not None and per_count is not None and record.fault is None:
            # where a line has both, its count is meant
            value = record.counts * per_count
        if value is not None:
            self.good += 1
            self.shown.add(record.unit)
        elif (
            record.counts is not None and record.status is None and record.fault is None
        ):
            self.bare += 1
        if value is not None:
            self.times.append(at)
            self.values.append(value)
        if record.status is not None:
            self.statuses[record.status] += 1
        if record.fault is not None:
            self.faults[record.fault] += 1
            self.shortest = self.shortest or repr(record.raw[:24])
        self.flags.update(record.flags)
        if record.channel is not None:
            (self.channels if record.status is None else self.mute).add(record.channel)
        if record.axis is not None:
            self.axes.add(record.axis)


def take(port: PortSettings, seconds: float) -> Taken:
    """Listen for so long. Raises FormatError, OSError, ValueError."""
    decoder = make_decoder(port.format, dict(port.options), from_middle=True)
    request = request_of(port)
    heard, data = Taken(), bytearray()
    every = 1.0 / request_rate(port)
    with open_port(port, LOOK) as opened:
        due, end = 0.0, time.monotonic() + seconds
        while (now := time.monotonic()) < end:
            if request and now >= due:
                due = now + every
                opened.write(request)
            block, text = read_block(port, opened)
            data += block
            for record in decoder.feed(text):
                if (
                    request
                    and record.fault is not None
                    and record.raw.strip() == echo_of(request)
                ):
                    heard.echoes += 1
                    continue
                heard.add(record, time.monotonic(), port.per_count)
    heard.data, heard.rejects = bytes(data), decoder.rejects - heard.echoes
    if heard.bare and not (_traits(port).gauge_and_counts and heard.values):
        # between a gauge's words a board tells where the scale is: that is no lack
        heard.good += heard.bare
        heard.counts_only = True
    return heard


def remarks(name: str, port: PortSettings, heard: Taken) -> Iterator[Matter]:
    """Readings come, and yet not all is well with them."""
    if heard.counts_only and _traits(port).gauge_and_counts:
        yield fault(
            name,
            "the board tells where the scale is, and no word of a gauge came",
            "is the gauge on and wired to the board? If this is the travel: per_count ="
            ' "0.005 mm", or what its scale has',
        )
    elif heard.counts_only:
        yield fault(
            name,
            "it sends counts, and the settings do not say what travel one is",
            'per_count = "0.005 mm", or whatever its scale has; push it 100 mm and see'
            " how many counts come",
        )
    if len(heard.channels) > 1:
        heard_of = ", ".join(sorted(heard.channels))
        yield fault(
            name,
            f"channels {heard_of} come mixed" + _mute(heard),
            f"say which gauge this is: channel = {' or '.join(sorted(heard.channels))}",
        )
    if len(heard.axes) > 1 and "axis" not in port.options:
        yield fault(
            name,
            f"axes {', '.join(sorted(heard.axes))} come mixed",
            f'say which scale this is: axis = "{min(heard.axes)}"',
        )
    modes = sum(heard.flags[flag] for flag in ("hold", "max", "min", "tir"))
    if modes:
        which = ", ".join(sorted(NOT_OF_THE_MOMENT & heard.flags.keys()))
        yield fault(
            name,
            f"the display is in a mode ({which}): what it sends is not the reading of"
            " the moment",
            "switch hold, maximum and minimum off on the instrument",
        )
    if heard.statuses and not heard.mute:
        said, do = _statuses(heard)
        yield told(name, f"in between it had no reading: {said}", do)
    if heard.flags["default_unit"]:
        chosen = port.options.get("default_unit")
        yield told(
            name,
            "it sends no unit: its numbers are read as"
            f" {'inch' if chosen in ('in', 'inch') else 'mm'}",
            (
                'does its display show mm? If it shows inches: default_unit = "in"'
                if chosen is None
                else ""
            ),
        )
    if heard.echoes:
        yield told(
            name, f"it repeats what it is asked, {heard.echoes} times: no harm in that"
        )
    if heard.rejects and heard.faults:
        why, many = heard.faults.most_common(1)[0]
        yield told(
            name,
            f"{heard.rejects} of {heard.rejects + heard.good} frames were rejected,"
            f" most of them ({many}) because: {why}; such as {heard.shortest}",
            "check cable, baud rate and parity; `sweepgauge capture` keeps bytes for a"
            " report",
        )
    diagnose = FORMATS[port.format].diagnose_values
    if (
        diagnose is not None
        and (found := diagnose(port.options, heard.values)) is not None
    ):
        yield told(
            name,
            found.words,
            found.do,
            evidence=found.evidence,
            proposal=found.proposal,
        )
    if len(heard.shown) > 1:
        yield fault(
            name,
            "its unit was switched while it was heard",
            "leave it at mm or inch during a check",
        )


def _traits(port: PortSettings) -> Traits:
    return FORMATS[port.format].traits_of(port.profile)


def _mute(heard: Taken) -> str:
    if not heard.mute:
        return ""
    one = len(heard.mute) == 1
    return (
        f"; {', '.join(sorted(heard.mute))} {'has' if one else 'have'} no gauge that"
        " answers"
    )


def _statuses(heard: Taken) -> tuple[str, str]:
    """What it said instead of readings and what that means; what to do about the
    commonest."""
    said = ", ".join(
        f"{status} {count} times ({meaning_of(status)[0]})"
        for status, count in heard.statuses.items()
    )
    return said, meaning_of(heard.statuses.most_common(1)[0][0])[1]


def dumb(where: str, heard: Taken) -> tuple[str, str]:
    """It speaks, and what it says is that it has no reading: words, and what to do."""
    said, do = _statuses(heard)
    return f"{where}: the instrument itself says that it has no reading: {said}", do
