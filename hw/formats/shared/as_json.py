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
    extra = {name: getattr(record, name, None) for name in EXTRA}
    present: dict[str, object] = {
        name: value for name, value in extra.items() if value is not None
    }
    answered = (
        record.value is not None
        or record.status is not None
        or record.fault is not None
    )
    if record.counts is not None and not answered and "sequence" not in present:
        return present
    answer: dict[str, object] = {
        "value": record.value,
        "unit": record.unit,
        "instrument": instrument,
        "at": at,
        "flags": list(record.flags),
        "status": record.status,
        "fault": record.fault,
    }
    answer |= present
    if record.fault is not None:
        answer["raw"] = record.raw.hex()
    return answer
