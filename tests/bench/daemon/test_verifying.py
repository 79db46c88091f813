"""After a move the wrong way the verifying check says so."""

from __future__ import annotations

import pytest

from bench.checks import checks, find
from bench.checks.model import EvidenceGear
from bench.finding import Finding, Quantity
from bench.procedure.prompt import Prompt
from bench.render.prompts import prompt_words

BOTH = ("handle-left", "handle-right")


def push(rig, check, a: float, placements: tuple[str, ...] = BOTH) -> None:
    for placement in placements:
        check.hear_set_up(placement)
        rig.s = 0.0
        rig.rotation = a
        rig.side = "right" if placement == "handle-left" else "left"
        check.enter()
        check.hear("ready")
        rig.go(150.0, 600.0)
        check.hear("1 of 1 kept")


@pytest.mark.ci
def test_a_move_the_wrong_way_is_remarked(rigs, run) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1", "--json")
    check.enter()
    push(rig, check, 1e-3)
    assert check.wait() == 1
    finding = check.answer()
    moved = run("moved", "--distance", "0.5 mm", "--how", "leaves")
    assert moved.wait() == 0
    after = run("check", "fence-square", "--sweeps", "1", "--verifies", finding["id"], "--json")
    # one set-up, as the square's error is known now; no caution of minutes ago, no lean test
    push(rig, after, 2e-3, BOTH[:1])
    assert after.wait() == 1
    assert "Unplug" not in "".join(after.lines)
    assert after.answer()["remarks"][0]["code"] == "moved-wrong-way"
    shown = run("log", "show", finding["id"], "--json")
    shown.wait()
    (move,) = shown.answer()["moves"]
    assert move["made"]["distance_mm"] == 0.5
    assert move["verified_by"] is not None


def test_what_verifies_is_lighter_only_where_the_result_before_allows_it() -> None:
    """The square's error must be known from both set-ups; a check without a lighter form stays as it is."""
    q = Quantity("fence", 1e-3, "rad", 1e-5, 9.0)
    square = Quantity("square", 2e-5, "rad", 1e-5, 9.0)
    lighter = find("fence-square").lighter
    assert lighter is not None
    assert lighter(Finding(check="fence-square", quantities=[q, square])) == {"placements": "handle-left"}
    assert lighter(Finding(check="fence-square", quantities=[q])) is None
    assert find("plate-wobble").lighter is None


@pytest.mark.parametrize("kind", sorted(checks()))
def test_a_test_that_says_nothing_is_not_offered(kind: str) -> None:
    """A lean test where a sled is pushed past a standing indicator; a tap test and a number of passes where it is swept."""
    steps = find(kind).plan({}, EvidenceGear())
    for step in steps:
        assert not step.leans or (step.gather == "sweep" and step.pushed == "sled" and step.side is not None)
        said = prompt_words(Prompt("sweep", ready=True, pushed=step.pushed))
        assert ("sled" in said) == (step.pushed == "sled")
    if kind in (
        "rip-fence",
        "fence-straight",
        "slot-blade",
        "plate-wobble",
        "side-play",
        "runner-fit",
        "test-board",
    ):
        assert not any(step.leans for step in steps)
