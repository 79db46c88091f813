"""Selects the gear that a check uses from the user's. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from bench.checks.model import EvidenceGear
from bench.gear import Gear
from bench.procedure.invalid_request import InvalidRequest

T = TypeVar("T")


class GearUnknown(InvalidRequest):
    """A name that is not in the settings; the message lists those that are."""


def use(
    gear: Gear,
    *,
    jig: str | None = None,
    saw: str | None = None,
    square: str | None = None,
) -> EvidenceGear:
    """The gear of these names; where a name is not given, the only one of its kind.
    Raises GearUnknown."""
    the_jig = _pick("sled", gear.jigs, jig)
    of_jig = the_jig.saw if the_jig is not None else None
    return EvidenceGear(
        *(gear.indicator, gear.travel, gear.caliper),
        saw=_pick("saw", gear.saws, saw or of_jig),
        jig=the_jig,
        square=_pick("square", gear.squares, square),
        leaves=gear.leaves,
    )


def _pick(kind: str, owned: Mapping[str, T], name: str | None) -> T | None:
    if name is None:
        return next(iter(owned.values())) if len(owned) == 1 else None
    if name not in owned:
        raise GearUnknown(
            f"no {kind} is called {name!r}; there are:"
            f" {', '.join(sorted(owned)) or 'none'}"
        )
    return owned[name]
