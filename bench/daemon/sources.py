"""Where an instrument's bytes come from, whatever it is wired to; and what reads them.

Two instruments may share one port: a microcontroller that sends gauge and travel in one
line, a box of several gauges. Then it is opened once, and each hears all of it. No
numpy.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS, make_decoder
from hw.ports import Port, own_port
from hw.ports.rounds import Rounds
from hw.ports.serial_port import OnBlock, OnState, PortOptions, SerialPort
from hw.reading import Decoder, PortState


class Sources:
    """All ports of one daemon. make_factory: a gpiozero pin factory for pins; None asks
    the kernel itself."""

    make_factory: Callable[[], Any] | None = None

    def __init__(self) -> None:
        # registers and pins are read when they are due, and typed keys when they come
        self.rounds = Rounds()
        self._shared: dict[PortOptions, _Shared] = {}

    def open(
        self, settings: PortSettings, on_block: OnBlock, on_state: OnState
    ) -> Port:
        """What these settings name, not yet started. Raises ValueError (FormatError)
        where they do not agree."""
        options = _port_options(settings)
        own = own_port(
            settings.format,
            settings.options,
            options,
            on_block,
            on_state,
            pins=settings.pins,
            rate=settings.rate,
            make_factory=self.make_factory,
        )
        return own or _Member(self, options, on_block, on_state)

    def join(self, member: _Member) -> None:
        shared = self._shared.get(member.options)
        if shared is None:
            shared = self._shared[member.options] = _Shared(member.options, self.rounds)
        shared.join(member)
        member.shared = shared

    async def leave(self, member: _Member) -> None:
        shared, member.shared = member.shared, None
        if shared is not None and shared.leave(member):
            self._shared.pop(member.options, None)
            await shared.port.stop()


class _Shared:
    """One serial port and those who hear it."""

    def __init__(self, options: PortOptions, rounds: Rounds) -> None:
        self.port = SerialPort(options, self._block, self._state, rounds)
        self.members: list[_Member] = []
        self._told: tuple[PortState, str] | None = None

    def join(self, member: _Member) -> None:
        self.members.append(member)
        if len(self.members) == 1:
            self.port.start()
        elif self._told is not None:
            asyncio.get_running_loop().call_soon(member.late, *self._told)

    def leave(self, member: _Member) -> bool:
        """True when nobody is left."""
        self.members.remove(member)
        return not self.members

    def _block(self, data: bytes, when: int) -> None:
        for member in self.members:
            member.on_block(data, when)

    def _state(self, state: PortState, words: str) -> None:
        self._told = (state, words)
        for member in list(self.members):
            member.on_state(state, words)


class _Member:
    """One instrument's share of a port."""

    def __init__(
        self,
        sources: Sources,
        options: PortOptions,
        on_block: OnBlock,
        on_state: OnState,
    ) -> None:
        self.options = options
        self.on_block, self.on_state = on_block, on_state
        self.shared: _Shared | None = None
        self._sources = sources

    @property
    def heard_silence(self) -> bool:
        return self.shared is not None and self.shared.port.heard_silence

    def start(self) -> None:
        self._sources.join(self)

    async def stop(self) -> None:
        await self._sources.leave(self)

    def late(self, state: PortState, words: str) -> None:
        """What the port was found to be before this one joined."""
        if self.shared is not None:
            self.on_state(state, words)

    def write(self, data: bytes) -> bool:
        """Of those who share a port one asks; the others hear the answers."""
        shared = self.shared
        return (
            shared is not None and shared.members[0] is self and shared.port.write(data)
        )

    def stuck(self) -> bool:
        return self.shared is not None and self.shared.port.stuck()

    @property
    def waited(self) -> float:
        return self.shared.port.waited if self.shared is not None else 0.0


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
    """A fresh decoder; values in mm also where counts come. at_start: the first byte
    begins a line."""
    options: dict[str, object] = {**settings.options}
    if settings.profile is not None:
        options["profile"] = settings.profile
    decoder = make_decoder(settings.format, options, from_middle=not at_start)
    counts = FORMATS[settings.format].traits_of(settings.profile).counts
    # a microcontroller's line has both: with `per_count` its count is meant, without it
    # its gauge
    if settings.per_count is not None and counts is not None:
        from hw.formats.shared.travel import CountedTravel

        return CountedTravel(decoder, settings.per_count, relative=counts == "change")
    return decoder


def may_err(settings: PortSettings) -> bool:
    """Whether a wrong reading of it may be well formed: no checksum, no counting, and
    it comes as a stream."""
    return (
        settings.asking != "button"
        and FORMATS[settings.format].traits_of(settings.profile).undetected_errors
    )
