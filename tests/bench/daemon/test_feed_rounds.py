"""Where ports are looked at in rounds: stamps go on evenly, and a check or a client that wants each ends the rounds."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from bench.daemon.acquisition import Batch, Instrument
from bench.settings.settings_file import PortSettings
from hw.ports.polling_rounds import SPACING


@pytest.mark.parametrize("rate", [7.0, 20.0, 50.0, 67.0, 150.0])
def test_stamps_go_on_as_evenly_as_the_readings(rate: float) -> None:
    """Of an instrument whose clock is a little off and trembles: by what came when the round did, some would be
    as far apart as though one between were lost (the gate's 1.6 intervals)."""
    draw = random.Random(3)
    stamps: list[float] = []

    def heard(instrument: Instrument, batch: Batch) -> None:
        stamps.extend(batch.stamps)

    one = Instrument("caliper", PortSettings(port="/dev/none"), heard, lambda _: None)
    one._port_state("open", "/dev/none is open.")
    one._block(b"\r\n", int(99.0 * 1e9))
    one.source.line.rounds.waited = SPACING  # type: ignore[attr-defined]
    came = [100.0 + n / rate * 1.0003 + draw.uniform(0, 0.001) for n in range(400)]
    due, waiting, rounds = 100.0, b"", []
    for at in [*came, came[-1] + 1.0]:
        while at > due:
            if waiting:
                one._block(waiting, round(due * 1e9))
                rounds.append((due, waiting.count(b"\n")))
            waiting, due = b"", due + SPACING + draw.uniform(0, 0.002)
        waiting += b"+%09.3f mm\r\n" % 2.5
    assert len(stamps) == 400
    steady = stamps[40:]
    gaps = [b - a for a, b in pairwise(steady)]
    assert max(gaps) < 1.6 / rate
    assert min(gaps) >= 0.0
    # off by a round at most, once it is steady
    assert all(abs(stamp - at) < SPACING + 0.002 for stamp, at in zip(steady, came[40:], strict=True))
    read = [due for due, count in rounds for _ in range(count)]
    assert all(stamp <= due for stamp, due in zip(stamps, read, strict=True))
