"""An instrument that does not read, in a check: nobody is told to push, and a pass of it is void."""

from __future__ import annotations

import pytest

from bench.protocol import GetStatus, StatusReply
from tests.bench.daemon.conftest import hear_state


def ready(rig, run):
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1", "--json")
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
    rig.rotation, rig.side = 0.0003, "right"
    check.enter()
    check.hear("ready")
    return check


@pytest.mark.parametrize("fault", [pytest.param("silent", marks=pytest.mark.ci), "garbled"])
def test_ready_is_not_what_it_says_while_the_indicator_does_not_read(fault, rigs, run, wire) -> None:
    rig = rigs()
    ready(rig, run)
    spoilt = b"" if fault == "silent" else b"\x9e\x86\x18\x18\x86f\x18\x18\x18\r\n"
    rig.spoil = lambda name, line: spoilt if name == "indicator" else line
    client = wire()
    hear_state(client, "indicator", fault)
    state = client.ask(GetStatus(), StatusReply)
    assert state.instruments[0].state == fault
    assert state.run is not None and not state.run.ask.ready, state.run.ask.words


@pytest.mark.slow  # a busy machine does not get so many through; test_feed_flood has the flood itself every day
def test_a_flood_in_mid_sweep_voids_it(rigs, run) -> None:
    rig = rigs()
    check = ready(rig, run)
    rig.go(70.0, speed=150.0)
    rig.spoil = lambda name, line: b"2.5\n" * 1000 if name == "indicator" else line  # as a port takes at once
    rig.go(150.0, speed=40.0)
    rig.spoil = lambda name, line: line
    check.hear("This pass cannot be used")
