"""A record as the JSON object that `decode` and `watch` print.

Undefined fields are null, never missing; what only some formats have is there only
where the record has it, and a run of counts is nothing but its counts.
"""

from __future__ import annotations

from hw.reading import Record

EXTRA = ("channel", "axis", "counts", "illegal", "counts_abs", "sequence", "device_us")
"""Fields that only some formats have."""


def to_json(
    record: Record, instrument: str | None = None, at: float | None = None
) -> dict[str, object]:
    """`record` in the shape of a decoded reading.

    instrument: its name in the settings. at: s on the monotonic clock; None where bytes
    have no time. A rejected frame carries its raw bytes in hex.
    """
    extra: dict[str, object] = {
        name: value for name in EXTRA if (value := getattr(record, name)) is not None
    }
    answered = (record.value, record.status, record.fault) != (None, None, None)
    if record.counts is not None and not answered and "sequence" not in extra:
        return extra
    return {
        "value": record.value,
        "unit": record.unit,
        "instrument": instrument,
        "at": at,
        "flags": list(record.flags),
        "status": record.status,
        "fault": record.fault,
        **extra,
        **({} if record.fault is None else {"raw": record.raw.hex()}),
    }
