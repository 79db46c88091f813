"""An instrument that does not read, in a check: nobody is told to push, and a pass of it is void."""

from __future__ import annotations

import pytest

from bench.checks.model import EvidenceGear
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.status_message import StatusMessage
from bench.procedure.trouble_watch import NO_REST_S, NOT_AT_REST
from bench.protocol import Begin, GetStatus, Notice, StatusReply
from tests.bench.daemon.conftest import hear_state
from tests.bench.daemon.test_marks import Journal


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


def test_a_silent_indicator_is_no_sled_that_does_not_rest() -> None:
    """However long its cable is out: told is what is wrong, and READY has nothing beside it."""
    said, rests, now = [], [True], 100.0
    run = CheckProcedure(
        "run", Begin("fence-square", sweeps=2), EvidenceGear(), marks=(),
        journal=Journal(), tell=said.append, at_rest=lambda: rests[0],
    )  # fmt: skip
    run.settle_down(now)

    def wait(seconds: float, *, reads: bool) -> None:
        nonlocal now
        for _ in range(round(seconds * 10)):
            now += 0.1
            if reads:
                run.readings([now], [2.5], now)
            run.tick(now)

    def troubles() -> list[str]:
        return [one.code for one in said if isinstance(one, Notice) and one.about == "doubt"]

    for _ in ("cautions", "place"):
        run.press(now)
    wait(2.0, reads=True)
    assert run.ask.ready
    rests[0] = False
    run.liveness.start_waiting()
    run.interrupt(StatusMessage("pass-interrupted", {"name": "indicator", "how": "away"}), now)
    wait(20.0, reads=False)
    assert not troubles()
    wait(NO_REST_S + 1.0, reads=True)  # now the sled is what does not rest
    assert troubles() == [NOT_AT_REST]
    assert run.ask.because is not None
    rests[0] = True
    wait(1.0, reads=True)
    assert run.ask.ready and run.ask.because is None


@pytest.mark.slow  # a busy machine does not get so many through; test_feed_flood has the flood itself every day
def test_a_flood_in_mid_sweep_voids_it(rigs, run) -> None:
    rig = rigs()
    check = ready(rig, run)
    rig.go(70.0, speed=150.0)
    rig.spoil = lambda name, line: b"2.5\n" * 1000 if name == "indicator" else line  # as a port takes at once
    rig.go(150.0, speed=40.0)
    rig.spoil = lambda name, line: line
    check.hear("This pass cannot be used")
