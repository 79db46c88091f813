"""Every kind of check on the virtual saw, through a real daemon on pseudo-terminals, beside what the saw knows.

What the saw knows comes of bodies that are held against SciPy and shapely in tests/hw/virtual.
"""

from __future__ import annotations

import asyncio
import subprocess
import sys
from types import SimpleNamespace

import pytest

from bench.checks import checks
from bench.checks import find as find_check
from bench.checks.model import EvidenceGear
from bench.checks.options import validated
from bench.demo.daemon_process import DemoError
from bench.demo.hand_actions import follow
from bench.demo.operator import Operator, one_check
from bench.demo.truth import TRUTHS, outside_uncertainty, truth_of, truth_words
from bench.finding import Finding, Quantity
from bench.procedure.prompt import Prompt
from bench.protocol import Begin, PromptChanged
from bench.render.finding import quantity_words
from hw.virtual.hands import Hands
from hw.virtual.saw import VirtualSaw

# fences, plates and straightness to either side of what is wanted; a slow check at fewer seeds
SEEDS = {
    "fence-square": (7,),
    "slot-blade": (1, 2),
    "rip-fence": (1, 2),
    "plate-wobble": (1, 2, 5),
    "fence-straight": (3, 4),
    "runner-fit": (2, 3),
    "side-play": (1,),
    "test-board": (3, 7),
    "mitre-square": (1, 2),
    "upright": (1, 3),
}


def test_every_kind_of_which_the_saw_knows_the_truth_is_demonstrated() -> None:
    assert set(SEEDS) == set(TRUTHS)


# one seed of each kind for .ci/run: test_console_all_kinds takes them all once more, by keys
EACH = [
    pytest.param(kind, seed, marks=pytest.mark.slow if more else pytest.mark.ci)
    for kind, seeds in SEEDS.items()
    for more, seed in enumerate(seeds)
]


@pytest.mark.parametrize(("kind", "seed"), EACH)
async def test_the_finding_holds_what_is_true(kind, seed) -> None:
    said: list[str] = []
    answer, good = await one_check(seed, said.append, kind, sweeps=2)
    finding, truth = answer["finding"], answer["truth"]
    assert good, (outside_uncertainty(finding, truth), finding.quantities, truth)
    first = finding.quantities[0]
    assert first.name in truth
    # surely not nothing: a sign that is wrong would miss
    for q in finding.quantities:
        if q.name in truth and q.name in SIGNED and abs(truth[q.name]) > 2 * q.uncertainty:
            assert (q.value > 0) == (truth[q.name] > 0)
    assert any(line.startswith("In truth") for line in said)


def test_the_truth_is_told_over_the_length_of_the_result() -> None:
    opens = Quantity("rip-fence", 1.9e-4, "rad", 7e-6, over=218.929, way="opens at the rear")
    finding = Finding(check="rip-fence", quantities=[opens])
    assert truth_words(finding, {"rip-fence": 1.93e-4}) == [
        "rip fence: opens at the rear, 0.042 mm over 219 mm"
    ]
    assert truth_words(finding, {"rip-fence": -1e-4})[0].endswith("closes at the rear, 0.022 mm over 219 mm")
    assert truth_words(finding, {"rip-fence": 1e-7})[0].endswith(": 0.000 mm over 219 mm")


SIGNED = {
    "fence",
    "blade",
    "rip-fence",
    "bow",
    "board",
    "between",
    "left",
    "right",
    "fence-lean",
    "blade-lean",
}


@pytest.mark.ci
@pytest.mark.parametrize(
    ("kind", "seed", "options"),
    [
        ("slot-blade", 3, {"turns": 4}),  # swept past the plate at even turns
        ("plate-wobble", 6, {"turns": 12}),
        ("runner-fit", 1, {"runner": "both"}),
        ("test-board", 9, {"kept": "right"}),
        ("side-play", 2, {"twist_at": 220.0}),
        ("upright", 2, {"placements": "blade", "blade_turns": "two", "stands": "left", "high_at": 60.0}),
    ],
)
async def test_their_options_too(kind, seed, options) -> None:
    answer, good = await one_check(seed, lambda line: None, kind, sweeps=1, options=options)
    assert good, (answer["finding"].quantities, answer["truth"])


@pytest.mark.ci
async def test_a_sled_fence_read_at_marks() -> None:
    answer, good = await one_check(4, lambda line: None, "fence-straight", sweeps=1, marks=True)
    assert good and set(answer["truth"]) == {"bow"}, (answer["finding"].quantities, answer["truth"])


def test_every_kind_has_a_truth_by_the_findings_own_names() -> None:
    saw = VirtualSaw.draw(1)
    for kind in checks():
        truth = truth_of(saw, kind, {})
        assert truth and set(truth) <= set(find_check(kind).quantities)
    assert truth_of(saw, "no such kind", {}) == {}


def test_a_missed_truth_is_told_and_an_angle_is_one_modulo_a_turn() -> None:
    finding = Finding(
        check="plate-wobble",
        quantities=[Quantity("total", 0.05, "mm", 0.01, None), Quantity("phase", 0.01, "rad", 0.05, None)],
    )
    assert outside_uncertainty(finding, {"total": 0.061, "phase": 6.28}) == ["total"]
    assert outside_uncertainty(finding, {"total": 0.0599, "phase": 6.2}) == ["phase"]


def test_a_turn_is_told_in_degrees() -> None:
    phase = Quantity("phase", 3.97, "rad", 0.03, None, way="largest at 227 degrees of turn")
    assert (
        quantity_words(phase, "mm") == "High spot: largest at 227 degrees of turn, give or take 1.7 degrees."
    )
    assert quantity_words(Quantity("phase", 3.97, "rad", 0.03, None), "inch") == (
        "High spot: 227 degrees, give or take 1.7 degrees."
    )


@pytest.mark.parametrize("options", [{}, {"kept": "right", "turns": 3}, {"kept": "left", "turns": 4}])
async def test_hands_cut_the_board_as_the_check_was_asked_for(monkeypatch, options) -> None:
    cut = []

    async def cut_board(self: Hands, side: str, turns: int) -> None:
        cut.append((side, turns))

    async def measure(self: Hands, placement: str, at: float) -> None: ...

    monkeypatch.setattr(Hands, "cut_board", cut_board)
    monkeypatch.setattr(Hands, "measure", measure)
    near, _ = find_check("test-board").plan(options, EvidenceGear())
    asked = Prompt(phase="place", placement=near.placement, gather="width", at=near.at)
    await follow(Hands(VirtualSaw.draw(1), pace=0.0), asked, validated(find_check("test-board"), options))
    assert cut == [(options.get("kept", "left"), options.get("turns", 4))]


async def test_what_the_saw_has_not_got_is_said() -> None:
    hands = Hands(VirtualSaw.draw(1), pace=0.0)
    wire = SimpleNamespace(inbox=asyncio.Queue(), send=lambda message: None)
    runner = Prompt(phase="width", words="", placement="runner-left", gather="width", at=900.0)
    with pytest.raises(ValueError, match="ends at 450"):
        await follow(hands, runner, {})
    wire.inbox.put_nowait(PromptChanged("r", "runner-fit", None, runner))
    with pytest.raises(DemoError, match="The pretend saw cannot: the runner ends at 450 mm, before 900 mm"):
        await Operator(wire, hands, print).take(Begin("runner-fit"))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="no set-up is called 'upside-down'"):
        await follow(hands, Prompt(phase="place", words="", placement="upside-down"), {})


def test_one_check_wants_no_screen() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bench.cli", "demo", "--check", "plate-wobble"],
        capture_output=True,
        check=False,
        text=True,
        timeout=60,
    )
    assert done.returncode == 2 and "--check goes with --headless" in done.stderr
