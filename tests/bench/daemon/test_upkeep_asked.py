"""A whole check, quick checks by what it proved, an event, and what drift and due dates make of them; over
the socket of a running daemon."""

from __future__ import annotations

import pytest
from turns import HANG_S, until

from bench.finding import Climate
from bench.protocol import Document, Drift, Due, Error, NoteEvent
from hw.climate import SensorReading

FENCE, SQUARE = 1.2e-4, 2e-4  # rad


def push(rig, check, placement: str, times: int) -> None:
    """The edge lies at the fence's rotation less the square's error, and turned over at their sum."""
    check.hear_set_up(placement)
    rig.s = 0.0
    left = placement == "handle-left"
    rig.rotation = FENCE - SQUARE if left else FENCE + SQUARE
    rig.side = "right" if left else "left"
    check.enter()
    check.hear("ready")
    for taken in range(1, times + 1):
        rig.go(150.0, 900.0)
        check.hear(f"{taken} of {times} kept")
        if taken < times:
            rig.go(0.0, 900.0)


@pytest.mark.ci
def test_a_quick_check_takes_two_presses_and_inherits_the_square(rigs, run) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    refused = run("check", "fence-square", "--quick")
    assert refused.wait() == 2 and "take the whole check" in refused.rest()
    whole = run(
        "check", "fence-square", "--sweeps", "2", "--temperature", "70 F", "--humidity", "45 %", "--json"
    )
    whole.enter()
    for placement in ("handle-left", "handle-right"):
        push(rig, whole, placement, 2)
    assert whole.wait() in (0, 1)
    found = whole.answer()
    assert found["climate"] == {"temperature": pytest.approx(21.11, abs=0.01), "humidity": 0.45}
    assert [q["name"] for q in found["quantities"][:2]] == ["fence", "square"]

    quick = run("check", "fence-square", "--quick", "--json")
    quick.enter()  # the cautions; the other press is "it stands", in `push`
    push(rig, quick, "handle-left", 3)
    assert quick.wait() in (0, 1)
    told = quick.answer()
    assert told["quantities"][0]["value"] == pytest.approx(FENCE, abs=3e-5)
    assert [q["name"] for q in told["quantities"]] == ["fence"] and told["climate"] is None
    inherits = next(one for one in told["remarks"] if one["code"] == "quick-inherits")
    assert inherits["values"] == {"count": 1, "whole": found["at"][:10]}

    charted = run("drift", "--json")
    assert charted.wait() == 0
    fence = next(s for s in charted.answer()["series"] if s["quantity"] == "fence")
    (baseline,) = fence["baselines"]
    assert [one["quick"] for one in baseline["results"]] == [False, True]
    assert baseline["results"][0]["humidity"] == 0.45
    due = run("due", "--json")
    assert due.wait() == 0
    (row,) = due.answer()["due"]
    assert (row["check"], row["jig"], row["reason"]) == ("fence-square", "big-sled", "interval")
    assert row["quick"] is True and row["minutes"] == 2

    dropped = run("event", "--jig", "big-sled", "dropped", "--note", "off the bench")
    assert dropped.wait() == 0
    listed = run("log", "events", "--json")
    assert listed.wait() == 0
    (event,) = [one for one in listed.answer()["events"] if one["kind"] == "gear-event"]
    assert event["about"] == "gear" and "off the bench" in event["words"]
    after = run("due", "--json")
    assert after.wait() == 1
    (row,) = after.answer()["due"]
    assert (row["state"], row["reason"], row["quick"]) == ("now", "moved", False)
    review = run("due", "--remind")
    assert review.wait() == 1
    said = review.process.stdout.read().decode()
    assert said == "Due now: sled fence square of big-sled (something happened to it).\n"
    again = run("check", "fence-square", "--quick")
    assert again.wait() == 2 and "moved since" in again.rest()
    for wrong in (
        ("event", "--jig", "small-sled", "dropped"),
        ("event", "--jig", "big-sled", "dropped", "--at", "2999-01-01"),
        ("event", "--jig", "big-sled", "dropped", "--at", "monday"),
        ("event", "--jig", "big-sled", "kicked"),
        ("due", "--at", "2001-01-01"),
        ("due", "--at", "soon"),
    ):
        asked = run(*wrong)
        assert asked.wait() == 2, wrong
        assert len(asked.rest().splitlines()) == 1, wrong


async def test_the_air_is_kept_and_asked_for_by_the_socket(first_bench, monkeypatch) -> None:
    """A sensor that lies is left out; what is asked of an empty log is answered."""
    import asyncio
    import sqlite3

    from bench.daemon import climate_sampler

    sensors = [SensorReading("sht3x", 19.5, 55.0), SensorReading("ds18b20", 18.0, None)]
    monkeypatch.setattr(climate_sampler, "read_climate", lambda: sensors)
    async with first_bench("") as bench:
        air = bench.service.shared.climate
        await until(lambda: air.now() is not None)
        assert air.now() == Climate(19.5, 0.55)
        sensors[:] = [SensorReading("sht3x", -60.0, 120.0)]
        air.want()
        wire = await bench.talk()
        async with asyncio.timeout(HANG_S):
            for request, kind in (
                (Drift(ref=1), Document),
                (Due(ref=2), Document),
                (NoteEvent("no-sled", "moved", ref=3), Error),
            ):
                wire.send(request)
                answer = await bench.until(wire, kind, lambda m, ref=request.ref: m.ref == ref)
                assert kind is Error or [] in (answer.document.get("series"), answer.document.get("due"))
            assert await asyncio.to_thread(bench.service.shared.log.flush)
    assert air.now() == Climate(19.5, 0.55)
    with sqlite3.connect(bench.folder / "log.db") as db:
        kept = db.execute("SELECT sensor, temperature_c, humidity_fraction FROM climate").fetchall()
    assert kept == [("sht3x", 19.5, 0.55)]
