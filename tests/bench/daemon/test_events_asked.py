"""`sweepgauge log events` of a running daemon: a pulled cable stands in it."""

from __future__ import annotations

import json

import pytest

from bench.protocol import InstrumentState, Readings, Watch


@pytest.mark.ci  # every day the log's own tests list its events, and those of ports tell of a pulled cable
def test_a_pulled_cable_stands_in_the_events(rigs, run, wire) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    client = wire()
    client.send(Watch())
    for _ in range(2000):
        message = client.next(60.0)
        assert message is not None
        if isinstance(message, Readings) and message.instrument == "travel" and "travel" in rig.names:
            rig.names.pop("travel")
            rig.unplug("travel")
        if isinstance(message, InstrumentState) and message.state == "absent":
            break
    asked = run("log", "events", "--json")
    assert asked.wait() == 0, asked.rest()
    events = asked.answer()["events"]
    assert events[-1]["words"].startswith("The log was opened by sweepgauge")
    away = [one for one in events if one["about"] == "travel" and "went away" in one["words"]]
    assert len(away) == 1 and away[0]["kind"] == "instrument", json.dumps(events)
