"""Holds each message until the log has on the disk what it was given before the
message; and tells clients, journal and service manager when the state of recording
changes.

The outbox asks the log itself what it was given, so that no caller has to say it.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Collection
from typing import NamedTuple

import msgspec

from bench.daemon.machine import notify
from bench.log.writer import LogWriter
from bench.procedure.status_message import status
from bench.protocol import (
    UNRECORDED,
    Done,
    Notification,
    PassNotice,
    Recording,
    SavedNotice,
    SetupNotice,
    notice,
)
from bench.render.notices import text

log = logging.getLogger("sweepgauge")

# a message that waits longer for the disk is shown as being saved; shorter is not seen
SHOW_SAVING_S = 0.3

Send = Callable[[msgspec.Struct], None]


class _WaitingMessage(NamedTuple):
    after: int  # the message speaks of tickets later than this, up to `upto`
    upto: int
    since: float
    message: msgspec.Struct
    send: Send


class Outbox:
    """Holds messages in their order. While the log takes nothing they go out at once,
    and say so themselves."""

    def __init__(self, tell: Send, log: LogWriter, clock: Callable[[], float]) -> None:
        self._tell, self._log, self._clock = tell, log, clock
        self._held: deque[_WaitingMessage] = deque()
        # `SavedNotice` messages that are told as soon as it is true
        self._owed: deque[_WaitingMessage] = deque()
        self._after = log.awaited
        self._saved = log.awaited
        self._refused: set[int] = set()
        self._unrecorded = 0  # the highest ticket of what was told as not recorded
        self._taking = True  # the log takes what it is given

    @property
    def behind(self) -> bool:
        """Something that was told as not recorded still waits for the disk."""
        return self._unrecorded > self._saved

    @property
    def saving(self) -> bool:
        """Somebody waits for the disk, and for long enough to be told."""
        return bool(self._held) and self._clock() - self._held[0].since >= SHOW_SAVING_S

    def tell(self, message: msgspec.Struct) -> None:
        """Tell all clients, once the disk has what the message speaks of."""
        self._hold(message, self._tell, self._after)

    def answers(self, to: Send) -> Send:
        """The function that sends the answers to a request that comes now, to the one
        client that `to` sends to."""
        after = self._log.awaited
        return lambda message: self._hold(message, to, after)

    def _hold(self, message: msgspec.Struct, send: Send, after: int) -> None:
        self._after = upto = self._log.awaited
        self._held.append(_WaitingMessage(after, upto, self._clock(), message, send))
        self._release()

    def saved(self, upto: int, refused: Collection[int] = ()) -> None:
        """Send the messages of whose writes the disk has. refused: tickets of what the
        log could not take, though the disk was well."""
        self._saved = max(self._saved, upto)
        self._refused.update(refused)
        while self._owed and self._owed[0].upto <= self._saved:
            self._send(self._owed.popleft())
        self._release()
        self._refused = {ticket for ticket in self._refused if ticket > self._after}

    def trouble(self, taking: bool) -> None:
        self._taking = taking
        self._release()

    def _release(self) -> None:
        while self._held and (self._held[0].upto <= self._saved or not self._taking):
            one = self._held.popleft()
            if one.upto > self._saved and isinstance(one.message, SavedNotice):
                self._owed.append(one)
            else:
                self._send(one)

    def _send(self, one: _WaitingMessage) -> None:
        refused = any(one.after < ticket <= one.upto for ticket in self._refused)
        nothing_new = (
            isinstance(one.message, Done) and one.after == one.upto
        )  # the log was given nothing for it
        if nothing_new or (one.upto <= self._saved and not refused):
            one.send(one.message)
        elif not isinstance(one.message, SavedNotice):
            if not refused:
                self._unrecorded = max(self._unrecorded, one.upto)
            one.send(unrecorded(one.message))


def unrecorded(message: msgspec.Struct) -> msgspec.Struct:
    """The same message where what it speaks of is not on the disk: it claims nothing.

    Its words say so where they are made, in `bench.render.notices`.
    """
    if not isinstance(message, Notification):
        return message
    if isinstance(message, SetupNotice) and message.what != "leaf":
        return message  # kept in the settings file, which is another matter
    replace = msgspec.structs.replace
    if isinstance(message, Done):
        return replace(message, recorded=False, text=UNRECORDED, remarks=[])
    if isinstance(message, PassNotice) and message.state == "kept":
        counts = {"taken": message.taken, "wanted": message.wanted}
        remarks = [status("pass-measured", **counts)]
        return replace(message, recorded=False, state="measured", remarks=remarks)
    return replace(message, recorded=False)


RECORDING = Recording(remarks=[status("recording")])
SAVING = Recording(state="saving", remarks=[status("saving")])


class RecordingState:
    """Tells whether the log is being written. tell: to all clients. where: of the log,
    for the service manager."""

    def __init__(self, tell: Send, outbox: Outbox, where: str) -> None:
        self.now = RECORDING
        self._tell, self._outbox, self._where = tell, outbox, where
        self._why: str | None = None  # why the log takes nothing
        # trouble was told since all was well; and something was lost in it
        self._told = self._lost = False

    def trouble(self, why: str | None) -> None:
        """Take in why the log takes nothing; None where it does again."""
        self._why = why
        self._outbox.trouble(taking=why is None)
        self.update()

    def refused(self, why: str) -> None:
        """The log did not take one entry, though the disk is well."""
        self._lost = True
        log.warning("NOT RECORDED: %s", why)
        refused = status("log-refused", why=why)
        self._tell(notice("log", refused, recorded=False))

    def update(self) -> None:
        """Tell the state of recording where it has changed."""
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
            again = status("log-again-lost" if self._lost else "log-again")
            self._told = self._lost = False
            log.warning("%s", text([again]))
            self._tell(notice("log", again))

    def _present(self) -> Recording:
        if self._why is not None:
            why = status("not-recorded", why=self._why)
            return Recording(state="not-recorded", remarks=[why])
        return SAVING if self._outbox.behind or self._outbox.saving else RECORDING

    def greeting(self) -> list[msgspec.Struct]:
        """The messages for a client that has just come; none where all is well."""
        if self.now.state == "recording":
            return []
        if self.now.state == "saving":
            return [self.now]
        return [self.now, notice("log", self.now.remarks[0], recorded=False)]

    def status_line(self) -> str:
        """The line for the service manager; sd_notify(3)."""
        return f"STATUS={text(self.now.remarks)} (log {self._where})"
