"""An instrument observed for a while: its bytes, read as the daemon reads them.

Nothing is sent but what the settings name, or the format's own request.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator

import msgspec

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.doctor.direct_port import blocks, open_port
from bench.settings.port_requests import echo_of, request_of
from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS, make_decoder, meaning_of
from hw.formats.shared.wire_format import RecordTraits
from hw.reading import Record

UNIT_ADVICE = 'does its display show mm? If it shows inches: default_unit = "in"'
DISPLAY_MODES = {"hold", "max", "min", "tir"}  # flags of readings not of the moment


class Observation(msgspec.Struct):
    """data: the bytes; text: the same as the decoder takes it. times, values: of the
    readings, s and mm.

    readings: how many, counts without a length too. bare_counts: lines with a count and
    nothing else; counts_only: no length was found. mute: channels without an answering
    gauge. faults: why frames were rejected, with an example. echoes: rejected frames
    that repeat the request. shown_units: of the display.
    """

    data: bytes = b""
    text: bytes = b""
    times: list[float] = []
    values: list[float] = []
    readings: int = 0
    rejects: int = 0
    bare_counts: int = 0
    counts_only: bool = False
    statuses: Counter[str] = msgspec.field(default_factory=Counter)
    flags: Counter[str] = msgspec.field(default_factory=Counter)
    channels: set[str] = msgspec.field(default_factory=set)
    mute: set[str] = msgspec.field(default_factory=set)
    faults: Counter[str] = msgspec.field(default_factory=Counter)
    echoes: int = 0
    example: str = ""
    axes: set[str] = msgspec.field(default_factory=set)
    shown_units: set[str] = msgspec.field(default_factory=set)

    def add(self, record: Record, at: float, per_count: float | None) -> None:
        """Count a record that came at s. per_count: mm, of a scale."""
        value = record.value
        counts = record.counts if record.fault is None else None
        if counts is not None and per_count is not None:
            # a line that has both a value and a count means its count
            value = counts * per_count
        if value is not None:
            self.readings += 1
            self.shown_units.add(record.unit)
            self.times.append(at)
            self.values.append(value)
        elif counts is not None and record.status is None:
            self.bare_counts += 1
        if record.status is not None:
            self.statuses[record.status] += 1
        if record.fault is not None:
            self.faults[record.fault] += 1
            self.example = self.example or repr(record.raw[:24])
        self.flags.update(record.flags)
        if record.channel is not None:
            (self.channels if record.status is None else self.mute).add(record.channel)
        if record.axis is not None:
            self.axes.add(record.axis)


def observe(port: PortSettings, seconds: float) -> Observation:
    """Listen for so long. Raises FormatError, OSError, ValueError."""
    decoder = make_decoder(port.format, dict(port.options), from_middle=True)
    request = request_of(port)
    seen, end = Observation(), time.monotonic() + seconds
    with open_port(port) as opened:
        for block, line in blocks(port, opened, lambda: time.monotonic() >= end):
            seen.data += block
            seen.text += line
            for record in decoder.feed(line):
                if request and _is_echo(record, request):
                    seen.echoes += 1
                else:
                    seen.add(record, time.monotonic(), port.per_count)
    seen.rejects = decoder.rejects - seen.echoes
    if seen.bare_counts and not (_traits(port).gauge_and_counts and seen.values):
        # between a gauge's words a board gives the scale's count: that is no lack
        seen.readings += seen.bare_counts
        seen.counts_only = True
    return seen


def _is_echo(record: Record, request: bytes) -> bool:
    return record.fault is not None and record.raw.strip() == echo_of(request)


def diagnose_observation(
    name: str, port: PortSettings, seen: Observation
) -> Iterator[Diagnostic]:
    """What is not well with readings that come."""
    yield from _mixed_streams(name, port, seen)
    modes = sum(seen.flags[flag] for flag in DISPLAY_MODES)
    if modes:
        which = ", ".join(sorted(DISPLAY_MODES & seen.flags.keys()))
        yield diagnosis(name, "display-mode", which=which)
    if seen.statuses and not seen.mute:
        words, advice = _statuses(seen)
        yield diagnosis(name, "had-no-reading", words=words, advice=advice)
    if seen.flags["default_unit"]:
        chosen = port.options.get("default_unit")
        unit = "inch" if chosen in ("in", "inch") else "mm"
        yield diagnosis(
            name, "no-unit", unit=unit, advice=UNIT_ADVICE if chosen is None else ""
        )
    if seen.echoes:
        yield diagnosis(name, "echoes", echoes=seen.echoes)
    if seen.rejects and seen.faults:
        yield _rejected_frames(name, seen)
    diagnose = FORMATS[port.format].diagnose_values
    if diagnose is not None and (found := diagnose(port.options, seen.values)):
        yield diagnosis(
            name,
            "values-odd",
            words=found.words,
            advice=found.advice,
            evidence=found.evidence,
            proposal=found.proposal,
        )
    if len(seen.shown_units) > 1:
        yield diagnosis(name, "unit-switched")


def _rejected_frames(name: str, seen: Observation) -> Diagnostic:
    why, count = seen.faults.most_common(1)[0]
    return diagnosis(
        name,
        "frames-rejected",
        rejects=seen.rejects,
        frames=seen.rejects + seen.readings,
        count=count,
        why=why,
        example=seen.example,
    )


def _mixed_streams(
    name: str, port: PortSettings, seen: Observation
) -> Iterator[Diagnostic]:
    """Counts without a length, and several channels or axes where one is wanted."""
    if seen.counts_only and _traits(port).gauge_and_counts:
        yield diagnosis(name, "no-gauge-word")
    elif seen.counts_only:
        yield diagnosis(name, "counts-only")
    if len(seen.channels) > 1:
        yield _mixed_channels(name, seen)
    if len(seen.axes) > 1 and "axis" not in port.options:
        axes = ", ".join(sorted(seen.axes))
        yield diagnosis(name, "axes-mixed", axes=axes, axis=min(seen.axes))


def _mixed_channels(name: str, seen: Observation) -> Diagnostic:
    channels, mute = sorted(seen.channels), ""
    if seen.mute:
        have = "has" if len(seen.mute) == 1 else "have"
        mute = f"; {', '.join(sorted(seen.mute))} {have} no gauge that answers"
    listed, choice = ", ".join(channels), " or ".join(channels)
    return diagnosis(name, "channels-mixed", channels=listed, mute=mute, choice=choice)


def diagnose_no_reading(name: str, where: str, seen: Observation) -> Diagnostic:
    """The instrument sends nothing but its own words for "no reading"."""
    words, advice = _statuses(seen)
    return diagnosis(name, "says-no-reading", where=where, words=words, advice=advice)


def _statuses(seen: Observation) -> tuple[str, str]:
    """The instrument's words and what they mean; what to do about the commonest."""
    words = ", ".join(
        f"{status} {count} times ({meaning_of(status)[0]})"
        for status, count in seen.statuses.items()
    )
    return words, meaning_of(seen.statuses.most_common(1)[0][0])[1]


def _traits(port: PortSettings) -> RecordTraits:
    return FORMATS[port.format].traits_of(port.profile)
