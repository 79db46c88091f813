"""Whether the log is being written, told to clients, journal and service manager when
it changes."""

from __future__ import annotations

import logging
from collections.abc import Callable

import msgspec

from bench.daemon.notify import notify
from bench.daemon.outbox import Outbox
from bench.procedure.status_message import StatusMessage
from bench.protocol import Recording, notice
from bench.render.notices import text

log = logging.getLogger("sweepgauge")

RECORDING = Recording(remarks=[StatusMessage("recording")])
SAVING = Recording(state="saving", remarks=[StatusMessage("saving")])


class RecordingState:
    """tell: to all clients. where: of the log, for the service manager."""

    def __init__(
        self, tell: Callable[[msgspec.Struct], None], outbox: Outbox, where: str
    ) -> None:
        self.now = RECORDING
        self._tell = tell
        self._outbox = outbox
        self._where = where
        self._why: str | None = None  # why the log takes nothing
        # trouble was told since all was well; and something was lost in it
        self._told = self._lost = False

    def trouble(self, why: str | None) -> None:
        """why: None where the log takes what it is given again."""
        self._why = why
        self._outbox.trouble(taking=why is None)
        self.look()

    def refused(self, why: str) -> None:
        """The log did not take one entry, though the disk is well."""
        self._lost = True
        log.warning("NOT RECORDED: %s", why)
        refused = StatusMessage("log-refused", {"why": why})
        self._tell(notice("log", refused, recorded=False))

    def look(self) -> None:
        """Tell it where it has changed."""
        now = self._present()
        if now == self.now:
            return
        self.now = now
        self._tell(now)
        notify(self.status_line())
        if now.state == "not-recorded":
            self._told = True
            log.warning("%s", text(now.remarks))
            self._tell(notice("log", now.remarks[0], recorded=False))
        elif now.state == "recording" and self._told:
            again = StatusMessage("log-again-lost" if self._lost else "log-again")
            self._told = self._lost = False
            log.warning("%s", text([again]))
            self._tell(notice("log", again))

    def _present(self) -> Recording:
        if self._why is not None:
            why = StatusMessage("not-recorded", {"why": self._why})
            return Recording(state="not-recorded", remarks=[why])
        return SAVING if self._outbox.behind or self._outbox.saving else RECORDING

    def greeting(self) -> list[msgspec.Struct]:
        """What a client that has just come is told; nothing where all is well."""
        if self.now.state == "recording":
            return []
        if self.now.state == "saving":
            return [self.now]
        return [self.now, notice("log", self.now.remarks[0], recorded=False)]

    def status_line(self) -> str:
        """For the service manager; sd_notify(3)."""
        return f"STATUS={text(self.now.remarks)} (log {self._where})"
