"""Too close to call: the command offers to go on once, by the number of pushes that would settle it."""

from __future__ import annotations

import sqlite3

import pytest

from bench.finding import Finding, Quantity, Settle, SweepRow

LIMIT = 0.05 / 300  # rad, the tolerance in the settings of the rig


def finding(settle: Settle | None, verdict: str = "cannot-tell") -> Finding:
    fence = Quantity("fence", LIMIT, "rad", 0.00004, 2.0, LIMIT, verdict, "")
    sweeps = [SweepRow(side, True, 200, 0, 0.0, 1e-6) for side in ("handle-left", "handle-right") * 3]
    return Finding(
        id="f", check="fence-square", quantities=[fence], verdict=verdict, settle=settle, sweeps=sweeps
    )


@pytest.mark.parametrize(
    ("settle", "verdict", "more"),
    [
        (Settle("between sweeps", sweeps=12), "cannot-tell", 3),
        (Settle("between sweeps", sweeps=11), "cannot-tell", 3),
        (Settle("between sweeps", sweeps=400), "cannot-tell", None),  # nobody pushes so often
        (Settle("plunger tilt"), "cannot-tell", None),  # no number of pushes settles it
        (None, "cannot-tell", None),
        (Settle("between sweeps", sweeps=12), "inside", None),
    ],
)
def test_how_many_pushes_more_are_offered(settle, verdict, more) -> None:
    assert finding(settle, verdict).more_pushes == more


def pushes(rig, check, first: int, last: int, of: int, rotation: float, scatter: float) -> None:
    """Pushes number first to last of `of`; the sled lies a little differently in its play at each."""
    for number in range(first, last + 1):
        rig.s = 0.0 if number == first else rig.s
        rig.rotation = rotation + (scatter if number % 2 else -scatter)
        rig.go(150.0)
        check.hear(f"{number} of {of} kept")
        if number < last:
            rig.go(0.0)
            check.hear("Returned to the start")


def place(rig, check, placement: str) -> None:
    check.hear_set_up(placement)
    rig.side = "right" if placement == "handle-left" else "left"
    rig.s = 0.0
    check.enter()
    check.hear("ready")


@pytest.mark.slow
@pytest.mark.parametrize("answer", ["go on", "leave", "killed"])
def test_gone_on_once_at_the_edge_of_the_tolerance(rigs, run, tmp_path, answer: str) -> None:
    rig = rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    check = run("check", "fence-square", "--sweeps", "2", "--json", "--extend")
    check.hear("Press Enter")
    check.enter()
    # the passes differ by more than set-ups are presumed to: more passes settle it
    rotation, scatter = LIMIT - 60e-6, 30e-6
    for placement in ("handle-left", "handle-right"):
        place(rig, check, placement)
        pushes(rig, check, 1, 2, 2, rotation, scatter)
    words = check.hear("Too close to call. ")
    assert "Enter goes on, q leaves" in words
    if answer == "leave":
        check.process.stdin.close()  # the end of the input leaves it
        assert check.wait() == 1
        assert check.answer()["verdict"] == "cannot-tell"
        return
    more = int(words.removeprefix("Too close to call. ").split()[0])
    check.enter()
    of = 2 + more
    if (
        answer == "killed"
    ):  # how far it was gone on with is in the log, and which answer it takes the place of
        check.hear("to the LEFT of the arm")
        daemon.end(9)
        check.hear("went away")
        run("daemon").hear("Passes kept: 4")
        check.hear("goes on where it stands")
    for placement in ("handle-left", "handle-right"):
        place(rig, check, placement)
        pushes(rig, check, 3, of, of, rotation, scatter)
    assert check.wait() == 0
    found = check.answer()
    assert found["verdict"] == "inside"
    assert found["confidence"] == 0.99
    fence = found["quantities"][0]
    assert fence["value"] == pytest.approx(rotation, abs=fence["uncertainty"])
    assert sum(sweep["push"] for sweep in found["sweeps"]) == 2 * of
    with sqlite3.connect(tmp_path / "log.db") as db:
        superseded = db.execute(
            "SELECT superseded_by IS NOT NULL FROM finding ORDER BY finding_key"
        ).fetchall()
    assert superseded == [(1,), (0,)]
