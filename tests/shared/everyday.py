"""Which cases of a parametrized test run every day, and which only in .ci/run."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def ci(case: Any) -> Any:
    """A case, one value or a tuple of several, that only .ci/run takes."""
    values = case if isinstance(case, tuple) else (case,)
    return pytest.param(*values, marks=pytest.mark.ci)


def everyday(cases: Iterable[Any], every: int) -> list[Any]:
    """The first case and each `every`th after it run every day, the others in .ci/run.

    Choose a number that shares no divisor with how often a value repeats: then each value has its turn.
    """
    return [case if place % every == 0 else ci(case) for place, case in enumerate(cases)]
