"""What every message has: its type, and whether what it tells is on the disk."""

from __future__ import annotations

import msgspec


class Tagged(msgspec.Struct, frozen=True, tag_field="type", omit_defaults=False):
    """Every message names its type."""


class Request(Tagged, frozen=True, kw_only=True):
    """What a client asks of the daemon; the answer repeats `ref`."""

    ref: int | None = None


class Query(Request, frozen=True):
    """A request that is answered at once: it changes nothing that the log keeps, or
    waits for the disk itself."""


class LogQuery(Query, frozen=True):
    """What the daemon answers of its log, and a command of a log file."""


class Reply(Tagged, frozen=True, kw_only=True):
    """What answers a request; ref: as that had it."""

    ref: int | None = None


class Notification(Tagged, frozen=True, kw_only=True):
    """What is told of a check, a move or the set-up, once all it speaks of is on the
    disk.

    remarks: what it tells, as codes and values; `words` (or `text`) is made from them
    by `bench.render.notices` just before the message leaves the daemon.

    recorded False: the log takes nothing, so it is told without that; it is lost if the
    daemon ends before.
    """

    recorded: bool = True
