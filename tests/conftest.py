"""Property tests draw the same examples every time, so that a failure is a failure and not a mood.

SWEEPGAUGE_EXAMPLES=1000 looks further, for an evening.
"""

from __future__ import annotations

import os
import tempfile

# small matrices on several workers: threads of the arithmetic library only get in one another's way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, configuration, settings

# a folder for each process: in a fresh clone workers would write its character tables over one another
configuration.set_hypothesis_home_dir(tempfile.mkdtemp(prefix="examples-"))

settings.register_profile(
    "everyday",
    derandomize=True,
    deadline=None,
    max_examples=int(os.environ.get("SWEEPGAUGE_EXAMPLES", "25")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("everyday")


@pytest.hookimpl(tryfirst=True)  # before -m looks
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What only .ci/run has the time for is slow too."""
    for item in items:
        if item.get_closest_marker("ci") is not None:
            item.add_marker(pytest.mark.slow)
