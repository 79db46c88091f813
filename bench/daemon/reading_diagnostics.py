"""Diagnostics of readings: rejected frames, outliers, switched units, spoiling flags.

Each is told to the clients, written to the journal, and noted in the log.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

import msgspec

from bench.daemon.acquisition import Batch, Instrument
from bench.daemon.shared_state import SharedState
from bench.procedure.status_message import Severity, StatusMessage, status
from bench.protocol import InstrumentState, RejectedFrame, notice
from bench.render.notices import text
from hw.formats import meaning_of

log = logging.getLogger("sweepgauge")

REJECTED_PER_S = 5  # rejected frames told a second and instrument; all are counted
OUTLIER_NOTICE_S = 10.0  # s between two notices of outliers; all are counted
# flags of a display that does not show the present value
FROZEN_DISPLAY = frozenset({"hold", "max", "min", "tir"})
# flags of readings that must not enter a sweep, and the code of what is told of them
SPOILS = {"hold": "on-hold", "missed_edge": "missed-edge"}


class ReadingDiagnostics:
    """One for all instruments.

    units: the latest unit of each instrument. spoiling: by instrument the flag for
    which its readings cannot be used now. break_sweep(code, s, values): the sweep under
    way cannot be used.
    """

    def __init__(self, shared: SharedState, break_sweep: Callable[..., None]) -> None:
        self.units: dict[str, str] = {}
        self.spoiling: dict[str, str] = {}
        self._shared, self._tell, self._log = shared, shared.tell, shared.log
        self._break_sweep = break_sweep
        self._rejected_due: dict[str, float] = {}  # s; when the next may be told
        self._outlier_due: dict[str, float] = {}

    def state(self, instrument: Instrument) -> InstrumentState:
        """The instrument's state, with the flag that spoils its readings."""
        state, flag = instrument.state_message(), self.spoiling.get(instrument.name, "")
        if not flag or state.state != "open":
            return state
        remarks = [status(SPOILS[flag], name=state.name)]
        return msgspec.structs.replace(state, spoiled=flag, remarks=remarks)

    def check_unit(self, instrument: Instrument, unit: str, now: float) -> None:
        """A unit switched at the instrument breaks a sweep."""
        name, before = instrument.name, self.units.get(instrument.name)
        self.units[name] = unit
        if before is None or before == unit:
            return
        values = {"name": name, "before": before, "unit": unit}
        self._notice(name, status("unit-switched", **values))
        self._log.event(None, "unit", {"name": name, "from": before, "to": unit})
        self._break_sweep("unit", now, **values)

    def check_flags(self, instrument: Instrument, flags: set[str], now: float) -> bool:
        """Whether these flags spoil the readings. It is told when that begins and when
        it ends; a sweep with such readings is broken."""
        name = instrument.name
        if flags & FROZEN_DISPLAY:
            flags = {"hold", *flags}
        spoils = next((flag for flag in SPOILS if flag in flags), None)
        before = self.spoiling.pop(name, None)
        if spoils is not None:
            self.spoiling[name] = spoils
            self._break_sweep(spoils, now, name=name)
        if spoils != before:
            self._tell(self.state(instrument))
            code = SPOILS[spoils] if spoils else "reads-again"
            message = status(code, name=name)
            self._notice(name, message, "warning" if spoils else "good")
            event = {"name": name, "code": code, "words": text([message])}
            self._log.event(None, "spoiled", event)
        return spoils is not None

    def tell_outlier(self, instrument: Instrument, value: float, now: float) -> None:
        """The first outlier is told, then one in OUTLIER_NOTICE_S. A grain of dust
        under the tip makes one too, and the pass is as good without it."""
        name = instrument.name
        if now < self._outlier_due.get(name, 0.0):
            return
        self._outlier_due[name] = now + OUTLIER_NOTICE_S
        values = {"name": name, "value": value, "held": instrument.state_message().held}
        travels = instrument.name == "travel"
        code = "travel-held" if travels else "reading-held"
        self._notice(name, status(code, **values))
        self._log.event(None, "held", values)

    def tell_rejected(self, instrument: Instrument, batch: Batch, now: float) -> None:
        """Tell at most REJECTED_PER_S rejected frames a second, and a press of the
        instrument's own button that gave no reading."""
        name, due = instrument.name, self._rejected_due.get(instrument.name, 0.0)
        if instrument.settings.asking == "button" and not batch.values and now >= due:
            latest = batch.rejected_frames[-1][1]
            why = meaning_of(latest.status)[0] if latest.status else latest.fault
            message = status("press-without-reading", name=name, why=why)
            self._tell(notice(name, message, "warning"))
        for at, record in batch.rejected_frames:
            if now < due:
                return
            due = self._rejected_due[name] = now + 1.0 / REJECTED_PER_S
            raw = record.raw.hex()
            self._tell(RejectedFrame(name, at, record.fault, record.status, raw))

    def _notice(
        self, name: str, message: StatusMessage, severity: Severity = "note"
    ) -> None:
        self._tell(notice(name, message, severity))
        log.info("%s", text([message], self._shared.settings.units))
