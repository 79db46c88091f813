"""The messages between the daemon and its clients: one JSON object a line over a Unix
socket.

The daemon speaks first (`version`). A request may carry `ref`, which its answer
repeats. A bad request is answered by `error`; a message of a type that is not known is
skipped by a client and answered by an error from the daemon. The messages stand in
`requests`, `replies` and `notifications`; everybody takes them from here.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from operator import or_
from typing import TypeVar

import msgspec

from bench.checks.options import Option as Option
from bench.checks.options import OptionError as OptionError
from bench.finding import Contact as Contact
from bench.finding import Finding as Finding
from bench.finding import Move as Move
from bench.finding import Position as Position
from bench.finding import Quantity as Quantity
from bench.gear import LONGEST_NAME
from bench.gear import Jig as Jig
from bench.gear import Saw as Saw
from bench.gear import Square as Square
from bench.procedure.prompt import Prompt as Prompt
from bench.procedure.status_message import StatusMessage as StatusMessage
from bench.protocol.base import *  # noqa: F403
from bench.protocol.base import Message, Request
from bench.protocol.notifications import *  # noqa: F403
from bench.protocol.replies import *  # noqa: F403
from bench.protocol.requests import *  # noqa: F403

_T = TypeVar("_T")

LONGEST_REQUEST = 65536  # bytes; a client that sends a longer line is dropped

REQUESTS = Request.kinds()
SENT_BY_DAEMON = [kind for kind in Message.kinds() if kind not in REQUESTS]

_encoder = msgspec.json.Encoder()
_request: msgspec.json.Decoder[Request] = msgspec.json.Decoder(reduce(or_, REQUESTS))
_from_daemon: msgspec.json.Decoder[Message] = msgspec.json.Decoder(
    reduce(or_, SENT_BY_DAEMON)
)


class WireError(ValueError):
    """A line that is not a message: not UTF-8, not JSON, nested too deep, of no known
    type."""


def encode(message: msgspec.Struct) -> bytes:
    return _encoder.encode(message) + b"\n"


def take_lines(buffer: bytearray) -> Iterator[bytes]:
    """Take the whole lines out of what has arrived so far."""
    while (end := buffer.find(b"\n")) >= 0:
        line = bytes(buffer[:end])
        del buffer[: end + 1]
        yield line


def decode_request(line: bytes) -> Request:
    """Raises WireError, also for a text that would not be one short line on whatever
    terminal it is shown."""
    request = _decode(_request, line)
    for text in texts_in(msgspec.to_builtins(request, builtin_types=(bytes,))):
        if len(text) > LONGEST_NAME or not text.isprintable():
            found = ascii(text[:LONGEST_NAME])
            raise WireError(
                f"found {found}; a text of at most {LONGEST_NAME} printable characters"
                " would do"
            )
    return request


def texts_in(value: object) -> Iterator[str]:
    """Every text in it, keys too."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from texts_in([*value.keys(), *value.values()])
    elif isinstance(value, list):
        for one in value:
            yield from texts_in(one)


def decode_notification(line: bytes) -> Message | None:
    """None for a message of a later protocol: a client skips what it does not know."""
    try:
        return _decode(_from_daemon, line)
    except WireError:
        try:
            kind = msgspec.json.decode(line)["type"]
        except Exception as error:
            raise WireError(f"not a message of the daemon: {line[:80]!r}") from error
        if isinstance(kind, str):
            return None
        raise


def _decode(decoder: msgspec.json.Decoder[_T], line: bytes) -> _T:
    try:
        return decoder.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise WireError(str(error)) from error
    except RecursionError as error:
        raise WireError("nested too deep") from error
