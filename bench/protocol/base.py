"""The kinds of messages: requests, replies and notifications."""

from __future__ import annotations

from typing import Self

import msgspec


class Message(msgspec.Struct, frozen=True, tag_field="type", omit_defaults=False):
    """Every message names its type."""

    @classmethod
    def kinds(cls) -> list[type[Self]]:
        """The messages of this class: those of which no other is derived."""
        derived = [kind for one in cls.__subclasses__() for kind in one.kinds()]
        return derived or [cls]


class Request(Message, frozen=True, kw_only=True):
    """A request of a client to the daemon; the answer repeats `ref`."""

    ref: int | None = None


class Query(Request, frozen=True):
    """A request that is answered at once: it changes nothing that the log keeps, or
    waits for the disk itself."""


class LogQuery(Query, frozen=True):
    """A query of the log: the daemon answers it of its own, and a command of a log
    file."""


class Reply(Message, frozen=True, kw_only=True):
    """An answer to a request; ref: as that had it."""

    ref: int | None = None


class Notification(Message, frozen=True, kw_only=True):
    """A message of a check, a move or the set-up, sent once all it speaks of is on the
    disk.

    remarks: what it tells, as codes and values; `words` (or `text`) is made from them
    by `bench.render.notices` just before the message leaves the daemon.

    recorded False: the log takes nothing, so it is told without that; it is lost if the
    daemon ends before.
    """

    recorded: bool = True
