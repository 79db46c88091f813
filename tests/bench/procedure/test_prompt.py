"""What is asked next, from what has happened: pure, the same for guide, command line and operator."""

from __future__ import annotations

from bench.checks import checks
from bench.checks.model import EvidenceGear, Step
from bench.gear import Jig
from bench.procedure.prompt import ProcedureState, advance, ask
from bench.render.prompts import prompt_words

STEPS = (
    Step("handle-left", "put it", "sweep", 2, "right", "standing"),
    Step("handle-right", "turn it over", "sweep", 2, "left", "standing"),
)


def test_a_check_from_cautions_to_done() -> None:
    caution = next(iter(checks().values())).cautions[:1]
    facts = ProcedureState()
    advance(STEPS, facts)
    assert ask(caution, STEPS, facts).phase == "cautions"
    facts.acknowledged = True
    placing = ask(caution, STEPS, facts)
    assert (placing.phase, placing.placement, placing.enter, placing.wanted) == (
        "place",
        "handle-left",
        True,
        2,
    )
    facts.placed = True
    assert not ask(caution, STEPS, facts).ready  # not before rest was seen
    facts.rested = True
    assert ask(caution, STEPS, facts).ready
    facts.accepted[0] = 2
    advance(STEPS, facts)
    assert not facts.placed
    assert ask(caution, STEPS, facts).placement == "handle-right"
    facts.accepted[1] = 2
    advance(STEPS, facts)
    assert ask(caution, STEPS, facts).phase == "working-out"
    facts.extra = 1
    advance(STEPS, facts)
    assert ask(caution, STEPS, facts).placement == "handle-left"


def test_marks_are_asked_near_to_far_and_begin_again() -> None:
    facts = ProcedureState(acknowledged=True, placed=True, marks=(25.0, 50.0))
    advance(STEPS, facts)
    facts.placed = True
    first = ask((), STEPS, facts)
    assert (first.phase, first.at, first.mark, first.marks, first.enter) == ("mark", 25.0, 1, 2, True)
    facts.marks_taken = 1
    assert ask((), STEPS, facts).at == 50.0
    facts.marks_taken, facts.accepted[0] = 0, 1
    again = ask((), STEPS, facts)
    assert again.at == 25.0 and prompt_words(again).startswith("Draw it back")


def test_an_instrument_that_sends_at_its_button_is_asked_for_by_that() -> None:
    facts = ProcedureState(acknowledged=True, placed=True, marks=(25.0, 50.0), buttons=("indicator",))
    advance(STEPS, facts)
    facts.placed = True
    words = prompt_words(ask((), STEPS, facts))
    assert "Press the indicator's own button" in words and "Enter" not in words
    width = (Step("slot-left", "Measure it.", "width", 1),)
    facts = ProcedureState(acknowledged=True, buttons=("indicator",))
    advance(width, facts)
    facts.placed = True
    assert "Press Enter" in prompt_words(ask((), width, facts))  # the caliper's number is typed
    facts.buttons = ("caliper",)
    assert "Press the caliper's own button" in prompt_words(ask((), width, facts))


def test_the_next_station_of_a_set_up_asks_for_no_new_one() -> None:
    steps = tuple(Step("slot-left", "width", "width", 1, at=float(at)) for at in (0, 100))
    facts = ProcedureState(acknowledged=True)
    advance(steps, facts)
    facts.placed = True
    facts.accepted[0] = 1
    advance(steps, facts)
    asked = ask((), steps, facts)
    assert (asked.phase, asked.at) == ("width", 100.0)


def test_every_check_plans_with_nothing_known() -> None:
    """Guide, command line and screen ask any check for its steps before anything is set up."""
    for check in checks().values():
        for gear in (EvidenceGear(), EvidenceGear(jig=Jig("sled", fence="far"))):
            steps = check.plan({}, gear)
            assert steps, check.kind
            assert all(step.words and step.placement for step in steps), check.kind
        assert check.cautions, check.kind
        assert check.quantities, check.kind


def test_no_lean_is_asked_where_there_is_no_side_to_prove() -> None:
    steps = (Step("as-is", "along the fence", "sweep", 2),)
    facts = ProcedureState(acknowledged=True, lean_wanted=True)
    advance(steps, facts)
    facts.placed = facts.rested = True
    assert ask((), steps, facts).phase == "sweep"
    proved = ProcedureState(acknowledged=True, lean_wanted=True)
    advance(STEPS, proved)
    proved.placed = True
    assert ask((), STEPS, proved).phase == "lean"


def test_a_set_up_is_told_once_not_with_every_reading() -> None:
    step = Step("front", "Tip on a marked spot of the blade body.", "spot", repeat=3)
    first = ask((), (step,), ProcedureState(acknowledged=True, placed=True, accepted=[0]))
    second = ask((), (step,), ProcedureState(acknowledged=True, placed=True, accepted=[1]))
    assert prompt_words(first).startswith("Tip on a marked spot")
    assert (
        prompt_words(second)
        == "Lift off, then measure the same place again. Press Enter when it stands still."
    )
