"""What waits at the gate when an instrument falls silent is decided, and told as any other reading."""

from __future__ import annotations

import pytest

from bench.daemon.acquisition import Batch, Instrument
from bench.settings.settings_file import PortSettings

STEP = 0.1  # s between lines


def heard_of(last: list[float]) -> tuple[list[float], list[float], Instrument]:
    """Passed on and refused, of 30 lines of a standing sled and then `last`, and a second of nothing after them."""
    values: list[float] = []
    held: list[float] = []

    def heard(instrument: Instrument, batch: Batch) -> None:
        assert len(batch.values) == len(batch.stamps)
        assert batch.first == len(values)
        assert not batch.values or batch.unit == "mm"
        values.extend(batch.values)
        held.extend(value for _, value in batch.outliers)

    one = Instrument("indicator", PortSettings(port="/dev/none"), heard, lambda _: None, count=0.001)
    now = 100.0
    one._port_state("open", "/dev/none is open.")
    one._block(b"\r\n", int(now * 1e9))
    for value in [*[2.5, 2.501] * 15, *last]:
        now += STEP
        one._block(b"%+09.3f mm\r\n" % value, int(now * 1e9))
        one.tick(now)
    for _ in range(10):
        now += STEP
        one.tick(now)
    return values[30:], held, one


@pytest.mark.parametrize(
    ("last", "passed", "refused"),
    [
        ([2.8, 2.801], [2.8, 2.801], []),  # put elsewhere: seen twice
        ([2.581], [], [2.581]),  # one bit of a digit flipped, as like as not
        ([2.506], [2.506], []),  # less than what is called wrong
    ],
)
def test_what_waits_is_decided_when_nothing_more_comes(last, passed, refused) -> None:
    values, held, one = heard_of(last)
    assert (values, held) == (passed, refused)
    assert one.state_message().held == len(refused)
    assert one.value == (passed[-1] if passed else 2.501)
