"""The instruments' ports, opened once each, the decoders of their bytes, and the
request that is sent again and again to an instrument that only answers.

Two instruments may share one port: a microcontroller that sends gauge and travel in one
line, or a box of several gauges. Each of them then hears all that comes.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from bench.settings.port_requests import echo_of, request_of, request_rate
from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS, make_decoder
from hw.formats.shared.wire_format import SERIAL
from hw.port_names import PortOptions
from hw.ports import own_port
from hw.ports.polling_rounds import PollingRounds
from hw.ports.reconnecting_port import OnBlock, OnState, ReconnectingPort
from hw.ports.serial_port import SerialPort
from hw.reading import Decoder, PortState, Record


class Sources:
    """Opens the ports of one daemon.

    make_lines: makes lines of pins, in place of the kernel's, for tests.
    """

    make_lines: Any = None

    def __init__(self) -> None:
        # Serial ports alone are read in rounds: registers and pins are read when they
        # are due, typed keys when they come.
        self.rounds = PollingRounds()
        self._lines: dict[PortOptions, SerialLine] = {}

    def open(
        self, settings: PortSettings, on_block: OnBlock, on_state: OnState
    ) -> ReconnectingPort | SharedPort:
        """The port that these settings name, not yet started. Raises ValueError
        (FormatError) where they do not agree."""
        names = PortOptions.__struct_fields__
        options = PortOptions(**{name: getattr(settings, name) for name in names})
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
        if own is not None:
            return own
        if options not in self._lines:
            self._lines[options] = SerialLine(options, self.rounds)
        return SharedPort(self._lines[options], on_block, on_state)


class SerialLine:
    """One serial port, open while an instrument hears it. rounds: the polling rounds in
    which it may be read."""

    def __init__(self, options: PortOptions, rounds: PollingRounds) -> None:
        self.options, self.rounds = options, rounds
        self.members: list[SharedPort] = []
        self.port = SerialPort(options, self._block, self._state, rounds)
        self._latest_state: tuple[PortState, str] | None = None

    def join(self, member: SharedPort) -> None:
        self.members.append(member)
        if len(self.members) == 1:
            self.port = SerialPort(self.options, self._block, self._state, self.rounds)
            self.port.start()
        elif self._latest_state is not None:
            # the state that the port had before it joined
            loop = asyncio.get_running_loop()
            loop.call_soon(self._catch_up, member, *self._latest_state)
        self._connect()

    async def leave(self, member: SharedPort) -> None:
        if member in self.members:
            self.members.remove(member)
            self._connect()
            if not self.members:
                self._latest_state = None
                await self.port.stop()

    def _catch_up(self, member: SharedPort, state: PortState, words: str) -> None:
        if member in self.members:
            member.on_state(state, words)

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
    """One instrument's share of a serial port."""

    def __init__(self, line: SerialLine, on_block: OnBlock, on_state: OnState) -> None:
        self.line, self.on_block, self.on_state = line, on_block, on_state

    @property
    def heard_silence(self) -> bool:
        return self.line.port.heard_silence

    def start(self) -> None:
        self.line.join(self)

    async def stop(self) -> None:
        await self.line.leave(self)

    def write(self, data: bytes) -> bool:
        """The first of the instruments that share a port asks; the others hear the
        answers."""
        return self.line.members[:1] == [self] and self.line.port.write(data)

    def stuck(self) -> bool:
        return self.line.port.stuck()


class RepeatedRequest:
    """Sends its request again and again to an instrument that only answers. sends: the
    bytes of the request; empty for an instrument that sends by itself."""

    def __init__(self, settings: PortSettings) -> None:
        self.sends = self._echo = b""
        if settings.asking == "request" and FORMATS[settings.format].port is SERIAL:
            self.sends = request_of(settings) or b"R\r"
            self._echo = echo_of(self.sends)
        self._settings = settings
        self._task: asyncio.Task[None] | None = None

    def start(self, write: Callable[[bytes], object]) -> None:
        if self.sends:
            self._task = asyncio.get_running_loop().create_task(self._go_on(write))

    def stop(self) -> None:
        if self._task is not None:
            self._task.cancel()

    def is_echo(self, record: Record) -> bool:
        """Whether a rejected frame is the request that the instrument echoes."""
        return bool(self._echo) and record.raw.strip() == self._echo

    async def _go_on(self, write: Callable[[bytes], object]) -> None:
        while True:
            write(self.sends)
            await asyncio.sleep(1.0 / request_rate(self._settings))


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
