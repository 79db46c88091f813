"""What a check is begun with, by a request or by the log of an open one. Pure.

A check that verifies a move is a lighter one, and none has tests that do not apply.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from bench.checks.model import Check, Known, Lean, Step, Tap
from bench.finding import Finding
from bench.log.rows import OpenCheck
from bench.protocol import Begin


def lightened(
    check: Check,
    request: Begin,
    find: Callable[[str], Finding | None],
    known: Callable[[Begin], Known],
) -> Begin:
    """What verifies a move needs no proof of the side again, and one set-up where the
    result before has proved the rest. An option that is not as usual stands.

    find: a recent result by its id. known: what the log tells to a check so begun.
    """
    if request.verifies is None:
        return request
    before = find(request.verifies)
    request = msgspec.structs.replace(request, lean=False, tap=False)
    if before is None or check.lighter is None:
        return request
    lighter = check.lighter(before)
    usual = {option.name: option.default for option in check.options}
    if lighter is None or any(
        request.options.get(name) not in (None, usual[name]) for name in lighter
    ):
        return request
    if "square" in check.takes and known(request).square is None:
        return request
    return msgspec.structs.replace(request, options={**request.options, **lighter})


def applying(request: Begin, steps: Sequence[Step]) -> Begin:
    """Without a test that no step of the check has."""
    return msgspec.structs.replace(
        request,
        lean=request.lean and any(step.leans for step in steps),
        tap=request.tap and any(step.gather == "sweep" for step in steps),
    )


def same(a: Begin, b: Begin) -> bool:
    """The same check on the same thing: `ref` and the beat may differ."""
    plain = {"ref": None, "beat": None}
    return bool(
        msgspec.structs.replace(a, **plain) == msgspec.structs.replace(b, **plain)
    )


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
