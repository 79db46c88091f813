"""Counts of a scale, an encoder or a microcontroller as a position in mm.

`CountedTravel` has the interface of a decoder and wraps one. Scales on pins send how
far they went since the last block (`quad_x4`), microcontrollers send where they are
(`bridge_counts`, `bridge`). A missed edge leaves every later position off by an unknown
number of counts: the first position after it carries the flag `missed_edge`, so that a
measurement can void the sweep.
"""

from __future__ import annotations

import msgspec

from hw.reading import Decoder, Record

MISSED_EDGE = "missed_edge"


class CountedTravel:
    """See hw.reading.Decoder. per_count: mm. relative: counts add up; else each record
    says where it is."""

    def __init__(self, decoder: Decoder, per_count: float, *, relative: bool) -> None:
        self._decoder = decoder
        self._per_count = per_count
        self._relative = relative
        self._total = 0
        self._missed = False
        self.rejects = 0

    def feed(self, data: bytes) -> list[Record]:
        return self._all(self._decoder.feed(data))

    def finish(self) -> list[Record]:
        return self._all(self._decoder.finish())

    def _all(self, records: list[Record]) -> list[Record]:
        self.rejects = self._decoder.rejects
        return [self._placed(record) for record in records]

    def _placed(self, record: Record) -> Record:
        if record.counts is None:
            # a rejected run moved the scale by an unknown number of counts
            self._missed = self._missed or (self._relative and record.fault is not None)
            return record
        flags: tuple[str, ...] = tuple(flag for flag in record.flags if flag == "gap")
        counts = record.counts
        if self._relative:
            self._total += counts
            counts = self._total
            if self._missed or record.illegal:
                self._missed, flags = False, (MISSED_EDGE,)
        return msgspec.structs.replace(
            record,
            value=counts * self._per_count,
            unit="mm",
            flags=flags,
            status=None,
            fault=None,
            counts=counts,
        )
