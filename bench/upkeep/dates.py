"""Days since 1970 as dates and back; reads no clock."""

from __future__ import annotations

from datetime import UTC, date, datetime

DAY_S = 86400.0
_EPOCH = date(1970, 1, 1).toordinal()
FIRST_DAY = date(2000, 1, 1).toordinal() - _EPOCH  # nothing was recorded before
_LAST = date.max.toordinal() - _EPOCH


def date_of(day: float) -> str:
    """ISO 8601, of the day in UTC."""
    return date.fromordinal(_EPOCH + int(min(max(day // 1, 0), _LAST))).isoformat()


def day_of(text: str) -> float:
    """Days of an ISO 8601 date or time; UTC where it names no offset. Raises
    ValueError."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    try:
        return moment.timestamp() / DAY_S
    except OverflowError as error:
        raise ValueError(text) from error


def time_of(day: float) -> str:
    """ISO 8601 to the second, UTC."""
    return datetime.fromtimestamp(min(max(day, 0.0), _LAST) * DAY_S, UTC).isoformat(
        timespec="seconds"
    )
