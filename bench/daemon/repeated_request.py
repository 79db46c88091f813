"""The request that is sent again and again to an instrument that only answers."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bench.doctor.direct_port import echo_of, request_of, request_rate
from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS
from hw.formats.shared.declaration import SERIAL
from hw.reading import Record


class RepeatedRequest:
    """sends: the bytes of the request; empty for an instrument that sends by itself."""

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
