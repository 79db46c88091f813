"""Property tests draw the same examples every time, so that a failure is a failure and not a mood.

SWEEPGAUGE_EXAMPLES=1000 looks further, for an evening.
"""

from __future__ import annotations

import gc
import os
import selectors
import sys
import warnings
from pathlib import Path

# where the environment forbids it, each worker and each daemon that a test starts would compile everything anew
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

import pytest  # noqa: E402 - compiled as is said above
from hypothesis import HealthCheck, configuration, given, settings  # noqa: E402
from hypothesis import strategies as st  # noqa: E402
from turns import Turns  # noqa: E402

selectors.DefaultSelector = Turns  # what every event loop sleeps in

# small matrices on several workers: threads of the arithmetic library only get in one another's way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# character tables take seconds to make: once a checkout, and before the workers begin, which would each make their own
TABLES = Path(__file__).parent.parent / ".pytest_cache/characters"
configuration.set_hypothesis_home_dir(TABLES)

settings.register_profile(
    "everyday",
    derandomize=True,
    deadline=None,
    max_examples=int(os.environ.get("SWEEPGAUGE_EXAMPLES", "5")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("everyday")


@settings(max_examples=1, database=None)
@given(st.text())
def make_tables(text: str) -> None:
    """The first text drawn makes them."""


@pytest.hookimpl(tryfirst=True)  # before the workers are begun
def pytest_sessionstart() -> None:
    if "PYTEST_XDIST_WORKER" not in os.environ and not any(TABLES.glob("unicode_data/*/*")):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that this is slow is known; it is done once
            make_tables()


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    """What is collected stays to the end: looking for rubbish in it takes a tenth of the time, in every worker."""
    gc.disable()


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.enable()
    gc.set_threshold(
        20_000, 20, 20
    )  # tests make much that soon goes by itself: looked through twenty times as seldom


@pytest.hookimpl(tryfirst=True)  # before -m looks
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What only .ci/run has the time for is slow too."""
    for item in items:
        if item.get_closest_marker("ci") is not None:
            item.add_marker(pytest.mark.slow)
