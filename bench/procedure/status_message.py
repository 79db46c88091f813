"""A message to the person at the saw, as a code and its values."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

Severity = Literal["good", "note", "warning"]


class StatusMessage(msgspec.Struct, frozen=True):
    """The sentence is made from the code's template in `bench.render.notices`.

    values: lengths in mm, angles in rad, names and counts, by the template's names.
    """

    code: str
    values: dict[str, Any] = {}


def status(code: str, /, **values: Any) -> StatusMessage:
    return StatusMessage(code, values)
