"""Diagnostics of readings: rejected frames, outliers, switched units, spoiling flags.

Each is told to the clients, written to the journal, and noted in the log.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

import msgspec

from bench.daemon.acquisition import Batch, Instrument
from bench.log.writer import LogWriter
from bench.protocol import InstrumentState, Notice, Rejected
from bench.settings.settings_file import Settings
from bench.units import length_words
from hw.formats import meaning_of

log = logging.getLogger("sweepgauge")

MOST_REJECTED = 5  # rejected frames told a second and instrument; all are counted
OUTLIER_NOTICE_S = 10.0  # s between two notices of outliers; all are counted
# flags of a display that does not show the present value
FROZEN_DISPLAY = frozenset({"hold", "max", "min", "tir"})
# flags of readings that must not enter a sweep: what that is, and what to do
SPOILS = {
    "hold": (
        "is on hold, maximum or minimum",
        "Switch that off on the gauge; till then nothing counts.",
    ),
    "missed_edge": (
        "has missed an edge: where the sled is, is not known",
        "Push slower.",
    ),
}


class ReadingDiagnostics:
    """One for all instruments.

    units: the latest unit of each instrument. spoiling: by instrument the flag for
    which its readings cannot be used now. break_sweep: called with the reason.
    """

    def __init__(
        self,
        tell: Callable[[msgspec.Struct], None],
        log_writer: LogWriter,
        settings: Callable[[], Settings],
        break_sweep: Callable[[str, float], None],
    ) -> None:
        self.units: dict[str, str] = {}
        self.spoiling: dict[str, str] = {}
        self._tell = tell
        self._log = log_writer
        self._settings = settings
        self._break_sweep = break_sweep
        self._rejected_due: dict[str, float] = {}  # s; when the next may be told
        self._outlier_due: dict[str, float] = {}

    def state(self, instrument: Instrument) -> InstrumentState:
        """The instrument's state, with the flag that spoils its readings."""
        state, flag = instrument.said(), self.spoiling.get(instrument.name, "")
        if not flag or state.state != "open":
            return state
        return msgspec.structs.replace(
            state,
            spoiled=flag,
            words=f"The {state.name} {SPOILS[flag][0]}. {SPOILS[flag][1]}",
        )

    def check_unit(self, instrument: Instrument, unit: str, now: float) -> None:
        """A unit switched at the instrument breaks a sweep."""
        name, before = instrument.name, self.units.get(instrument.name)
        self.units[name] = unit
        if before is None or before == unit:
            return
        words = f"the {name} was switched from {before} to {unit}"
        self._notice(name, words[0].upper() + words[1:] + ".")
        self._log.event(None, "unit", {"name": name, "from": before, "to": unit})
        self._break_sweep(words, now)

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
            self._break_sweep(f"the {name} {SPOILS[spoils][0]}", now)
        if spoils != before:
            state = self.state(instrument)
            words = state.words if spoils is not None else f"The {name} reads again."
            self._tell(state)
            self._notice(name, words)
            self._log.event(None, "spoiled", {"name": name, "words": words})
        return spoils is not None

    def tell_outlier(self, instrument: Instrument, value: float, now: float) -> None:
        """The first outlier is told, then one in OUTLIER_NOTICE_S. A grain of dust
        under the tip makes one too, and the pass is as good without it."""
        name, units = instrument.name, self._settings().units
        if now < self._outlier_due.get(name, 0.0):
            return
        self._outlier_due[name] = now + OUTLIER_NOTICE_S
        so_far = instrument.said().held
        shown = length_words(value, units, 3 if units == "mm" else None)
        cause = "dust, a jerk" if instrument.role != "travel" else "a jerk"
        self._notice(
            name,
            f"One reading of the {name}, {shown}, was not used: it is off the path of"
            f" those around it ({cause} or a bit lost; {so_far} so far).",
        )
        self._log.event(None, "held", {"name": name, "value": value, "held": so_far})

    def tell_rejected(self, instrument: Instrument, batch: Batch, now: float) -> None:
        """MOST_REJECTED rejected frames a second are told; a press of the instrument's
        own button that gave no reading is told as such."""
        name, due = instrument.name, self._rejected_due.get(instrument.name, 0.0)
        if instrument.settings.asking == "button" and not batch.values and now >= due:
            latest = batch.rejected[-1][1]
            status = latest.status
            why = latest.fault if status is None else meaning_of(status)[0]
            words = f"That press of the {name} gave no reading: {why}. Press again."
            self._tell(Notice(name, words))
        for at, record in batch.rejected:
            if now < due:
                return
            due = self._rejected_due[name] = now + 1.0 / MOST_REJECTED
            raw = record.raw.hex()
            self._tell(Rejected(name, at, record.fault, record.status, raw))

    def _notice(self, name: str, words: str) -> None:
        self._tell(Notice(name, words))
        log.info("%s", words)
