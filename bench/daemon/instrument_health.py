"""The health of one instrument: whether its port is open, and whether readings come.

Times in monotonic s.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bench.daemon.reading_stamps import ReadingStamps
from bench.procedure.status_message import status
from bench.settings.settings_file import PortSettings
from hw.formats import meaning_of
from hw.reading import PortState, Record
from hw.timeouts import SILENT_S, UNREAD_STALL_S

FLOOD_FRAMES = 30_000  # frames a second; no instrument sends more
FLOOD_OVER_S = 2.0  # s without such a second, after which the flood is over
GARBLED_FRAMES = 5  # rejected frames in a second, and more of them than readings
# bytes without a reading, coming for SILENT_S seconds and still coming: the stream has
# no line ends
NONSENSE_BYTES = 200
# states in which an instrument sends no readings, and in which it sends
UNREADABLE_STATES = ("garbled", "no-reading")
SENDING_STATES = ("open", *UNREADABLE_STATES)


class InstrumentHealth:
    """Works out the state of an instrument from what it sends and does not send.
    changed: called when state or remark have changed.

    blocks: read so far. unread: bytes since the latest reading.
    """

    def __init__(
        self, name: str, settings: PortSettings, changed: Callable[[], None]
    ) -> None:
        self.state = "absent"
        self.remark = status("instrument-not-open", name=name)
        self.blocks = self.unread = 0
        self._name, self._settings, self._changed = name, settings, changed
        self._unread_since = 0.0
        self._flood_at = 0.0
        self._bad_at = 0.0  # the latest block with a rejected frame
        # the instrument's status where its latest frame said that it has no reading
        self._no_reading: str | None = None
        # it was told that the instrument sends and no reading comes
        self._stopped_reading = False
        self._stuck_since: float | None = None
        self._stuck_at = 0

    # ---- what comes ------------------------------------------------------------------

    def port_state(self, state: PortState, words: str) -> None:
        self.unread, self._no_reading, self._stopped_reading = 0, None, False
        self._set(state, "instrument-port", port=self._settings.port or "", why=words)

    def nothing_read(self, size: int, now: float) -> None:
        """A block of `size` bytes had no reading."""
        if not self.unread:
            self._unread_since = now
        self.unread += size

    def frames(self, now: float, good: int, bad: int, rejected: Record | None) -> None:
        """Take in the frames of the present second, good and bad. rejected: the latest
        of this block."""
        if rejected is not None:
            self._bad_at, self._no_reading = now, rejected.status
            if rejected.status is not None:
                self.unread = 0
        if good + bad > FLOOD_FRAMES:
            self._flood_at = now
            self._set("flooding", "instrument-floods", frames=FLOOD_FRAMES)
        elif self.state == "flooding" and now - self._flood_at < FLOOD_OVER_S:
            return
        elif bad >= GARBLED_FRAMES and bad > good:
            self._set_unread()
        elif self.state in UNREADABLE_STATES and now - self._bad_at < 1.0:
            return
        elif good and good >= bad and self.state != "open":
            self._set("open", "instrument-reads")

    # ---- what does not come ----------------------------------------------------------

    def tick(self, now: float, stamps: ReadingStamps) -> bool:
        """True once when the instrument still sends but no reading comes any more."""
        silence, last, usual = stamps.silence(now), stamps.last, stamps.interval
        long = max(SILENT_S, 5 * (usual or 0.0))
        if last is not None and usual is not None and usual < 1.0:
            if now - last <= long:
                self._stopped_reading = False
            elif silence > long:
                if self.state in SENDING_STATES:
                    self._set("silent", "instrument-silent", seconds=round(silence))
                    stamps.rate = None
            elif not self._stopped_reading:
                self._stopped_reading, stamps.rate = True, None
                self._set_unread()
                return True
        if silence < 1.0 and self.state in ("open", "silent"):
            none = last is None or now - last > SILENT_S
            if self._no_reading is not None and none:
                self._set_unread()
            elif self.unread > NONSENSE_BYTES and now - self._unread_since > SILENT_S:
                self._set_garbled()
        return False

    def stalled(self, stuck: bool, now: float) -> bool:
        """Whether bytes have waited unread for UNREAD_STALL_S seconds. stuck: some
        wait now."""
        if not stuck or (self._stuck_since and self.blocks != self._stuck_at):
            self._stuck_since = None
            return False
        if self._stuck_since is None:
            self._stuck_since, self._stuck_at = now, self.blocks
        return now - self._stuck_since > UNREAD_STALL_S

    # ---- what is said of it ----------------------------------------------------------

    def _set_unread(self) -> None:
        """The instrument sends no readings: it says so itself, or its bytes cannot be
        decoded."""
        if self._no_reading is None:
            self._set_garbled()
            return
        means, do = meaning_of(self._no_reading)
        advice = f"{do[0].upper()}{do[1:]}"
        self._set("no-reading", "instrument-no-reading", means=means, advice=advice)

    def _set_garbled(self) -> None:
        settings = self._settings
        code = "instrument-garbled-pins" if settings.pins else "instrument-garbled"
        kind = f"{settings.format} {settings.options.get('profile', '')}".rstrip()
        self._set("garbled", code, format=kind)

    def _set(self, state: str, code: str, **values: Any) -> None:
        remark = status(code, name=self._name, **values)
        if state != self.state or remark != self.remark:
            self.state, self.remark = state, remark
            self._changed()
