"""The state that the parts of the daemon share: settings, log, and how clients are
told."""

from __future__ import annotations

import time

from bench.daemon.climate_sampler import ClimateSampler
from bench.daemon.outbox import Outbox, Send
from bench.finding import Finding
from bench.log.writer import LogWriter
from bench.settings.settings_file import Paths, Settings


class SharedState:
    """settings: as they are now. tell: to all clients at once; outbox: the same, once
    what is spoken of is on the disk. climate: of the shop. last: the latest results
    told, newest first."""

    def __init__(
        self, settings: Settings, paths: Paths, log: LogWriter, tell: Send
    ) -> None:
        self.settings, self.paths, self.log, self.tell = settings, paths, log, tell
        self.outbox = Outbox(tell, log, time.monotonic)
        self.climate = ClimateSampler(log)
        self.last: list[Finding] = []

    @property
    def indicator_port(self) -> str | None:
        wired = self.settings.indicator
        return wired.port if wired is not None else None

    def recent(self, finding: str | None) -> Finding | None:
        """One of the latest results, by its id."""
        return next((one for one in self.last if one.id == finding), None)
