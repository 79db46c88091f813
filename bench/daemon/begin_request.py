"""What is made of the request to begin a check: a lighter one where it verifies a move,
and without tests that the check has not. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from bench.checks.model import Check, Known, Step
from bench.finding import Finding
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
