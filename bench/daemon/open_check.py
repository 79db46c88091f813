"""What the events of an open check in the log say of how far it had come. Pure."""

from __future__ import annotations

from typing import Any

import msgspec

from bench.checks.model import Lean, Tap
from bench.log.rows import OpenCheck


def progress(left: OpenCheck) -> dict[str, Any]:
    """The arguments of `CheckProcedure.resume`, but for the time."""
    events = left.events
    return {
        "acknowledged": any(
            e.kind == "acknowledged"
            or (e.kind == "cautions-known" and not e.data["asked"])
            for e in events
        ),
        "traces": [
            s.trace for s in left.sweeps if s.state == "whole" and s.trace is not None
        ],
        "leans": [
            Lean(
                str(e.data["placement"]),
                float(str(e.data["left"])),
                float(str(e.data["right"])),
            )
            for e in events
            if e.kind == "lean"
        ],
        "taps": [msgspec.convert(e.data, Tap) for e in events if e.kind == "tap"],
        "alive": [str(e.data["placement"]) for e in events if e.kind == "alive"],
    }
