"""The context of a request, from which its answer is made."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from bench.daemon.clients import Client
from bench.daemon.outbox import Send
from bench.daemon.shared_state import SharedState

if TYPE_CHECKING:
    from bench.daemon.service import Service


class RequestContext(NamedTuple):
    """client: who asked. send: to that client, in words, once the disk has what the
    request changed. now: monotonic s, when the request came."""

    service: Service
    shared: SharedState
    client: Client
    send: Send
    now: float
