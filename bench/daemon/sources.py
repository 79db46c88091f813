"""The instruments' ports, opened once each, and the decoders of their bytes.

Two instruments may share one port: a microcontroller that sends gauge and travel in one
line, or a box of several gauges. Each of them then hears all that comes.
"""

from __future__ import annotations

import asyncio
from typing import Any

from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS, make_decoder
from hw.ports import Port, own_port
from hw.ports.reopened_port import OnBlock, OnState
from hw.ports.rounds import Rounds
from hw.ports.serial_port import PortOptions, SerialPort
from hw.reading import Decoder, PortState


class Sources:
    """All ports of one daemon.

    make_lines: of pins, in place of the kernel's, for tests.
    """

    make_lines: Any = None

    def __init__(self) -> None:
        # Serial ports alone are read in rounds: registers and pins are read when they
        # are due, typed keys when they come.
        self.rounds = Rounds()
        self._lines: dict[PortOptions, _SerialLine] = {}

    def open(
        self, settings: PortSettings, on_block: OnBlock, on_state: OnState
    ) -> Port:
        """The port that these settings name, not yet started. Raises ValueError
        (FormatError) where they do not agree."""
        options = _port_options(settings)
        own = own_port(
            settings.format,
            settings.options,
            options,
            on_block,
            on_state,
            pins=settings.pins,
            rate=settings.rate,
            make_lines=self.make_lines,
        )
        return own or SharedPort(self, options, on_block, on_state)

    def join(self, member: SharedPort) -> None:
        line = self._lines.get(member.options)
        if line is None:
            line = self._lines[member.options] = _SerialLine(
                member.options, self.rounds
            )
        line.join(member)
        member.line = line

    async def leave(self, member: SharedPort) -> None:
        line, member.line = member.line, None
        if line is not None and line.leave(member):
            self._lines.pop(member.options, None)
            await line.port.stop()


class _SerialLine:
    """One serial port and the instruments that hear it."""

    def __init__(self, options: PortOptions, rounds: Rounds) -> None:
        self.port = SerialPort(options, self._block, self._state, rounds)
        self.members: list[SharedPort] = []
        self._latest_state: tuple[PortState, str] | None = None

    def join(self, member: SharedPort) -> None:
        self.members.append(member)
        self._connect()
        if len(self.members) == 1:
            self.port.start()
        elif self._latest_state is not None:
            asyncio.get_running_loop().call_soon(member.hear_state, *self._latest_state)

    def leave(self, member: SharedPort) -> bool:
        """True when no member is left."""
        self.members.remove(member)
        self._connect()
        return not self.members

    def _connect(self) -> None:
        """The only member of a port hears its bytes directly."""
        alone = len(self.members) == 1
        self.port.on_block = self.members[0].on_block if alone else self._block

    def _block(self, data: bytes, when: int) -> None:
        for member in self.members:
            member.on_block(data, when)

    def _state(self, state: PortState, words: str) -> None:
        self._latest_state = (state, words)
        for member in list(self.members):
            member.on_state(state, words)


class SharedPort:
    """One instrument's share of a serial port.

    rounds: the polling rounds in which the port may be read.
    """

    def __init__(
        self,
        sources: Sources,
        options: PortOptions,
        on_block: OnBlock,
        on_state: OnState,
    ) -> None:
        self.options = options
        self.rounds = sources.rounds
        self.on_block, self.on_state = on_block, on_state
        self.line: _SerialLine | None = None
        self._sources = sources

    @property
    def heard_silence(self) -> bool:
        return self.line is not None and self.line.port.heard_silence

    def start(self) -> None:
        self._sources.join(self)

    async def stop(self) -> None:
        await self._sources.leave(self)

    def hear_state(self, state: PortState, words: str) -> None:
        """The state that the port had before this instrument joined."""
        if self.line is not None:
            self.on_state(state, words)

    def write(self, data: bytes) -> bool:
        """The first of the instruments that share a port asks; the others hear the
        answers."""
        line = self.line
        return line is not None and line.members[0] is self and line.port.write(data)

    def stuck(self) -> bool:
        return self.line is not None and self.line.port.stuck()


def _port_options(settings: PortSettings) -> PortOptions:
    return PortOptions(
        port=settings.port,
        baud=settings.baud,
        bits=settings.bits,
        parity=settings.parity,
        stop=settings.stop,
        dtr=settings.dtr,
        rts=settings.rts,
        settle=settings.settle,
    )


def make_reader(settings: PortSettings, *, at_start: bool = False) -> Decoder:
    """A fresh decoder; counts are turned to mm too. at_start: the first byte begins a
    line."""
    options: dict[str, object] = {**settings.options}
    if settings.profile is not None:
        options["profile"] = settings.profile
    decoder = make_decoder(settings.format, options, from_middle=not at_start)
    counts = FORMATS[settings.format].traits_of(settings.profile).counts
    # A microcontroller's line carries a count and a gauge. With `per_count` the count
    # is read, without it the gauge.
    if settings.per_count is not None and counts is not None:
        from hw.formats.shared.travel import CountedTravel

        return CountedTravel(decoder, settings.per_count, relative=counts == "change")
    return decoder


def may_err(settings: PortSettings) -> bool:
    """Whether a wrong reading may be well formed: the format has no checksum and no
    count, and the readings come as a stream."""
    return (
        settings.asking != "button"
        and FORMATS[settings.format].traits_of(settings.profile).undetected_errors
    )
