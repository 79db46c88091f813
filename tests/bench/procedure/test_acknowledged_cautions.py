"""A caution is asked once a day, and again when what it is about has changed."""

from __future__ import annotations

import pytest

from bench.checks import checks, find
from bench.checks.model import Caution
from bench.procedure.acknowledged_cautions import AcknowledgedCautions

DAY, NEXT = "2026-06-01", "2026-06-02"


def names(cautions: tuple[Caution, ...]) -> list[str]:
    return [caution.name for caution in cautions]


@pytest.fixture
def asked() -> AcknowledgedCautions:
    return AcknowledgedCautions()


def take(asked: AcknowledgedCautions, kind: str, day: str = DAY, saw: str | None = "cabinet") -> list[str]:
    """Those that are asked at a check, which is then taken."""
    cautions = find(kind).cautions
    due = asked.due(cautions, saw, day)
    asked.acknowledge(cautions, saw, day)
    return names(due)


def test_all_are_asked_the_first_time_and_none_minutes_later(asked) -> None:
    assert take(asked, "fence-square") == names(find("fence-square").cautions)
    assert take(asked, "fence-square") == []


def test_the_next_day_and_on_another_saw_all_are_asked(asked) -> None:
    take(asked, "fence-square")
    assert take(asked, "fence-square", saw="other") == names(find("fence-square").cautions)
    assert take(asked, "fence-square", day=NEXT) == names(find("fence-square").cautions)


def test_a_blade_that_is_wanted_otherwise_asks_for_the_cautions_of_the_blade(asked) -> None:
    """Right down for the sled fence, up to be touched, and right down again."""
    take(asked, "fence-square")
    assert take(asked, "slot-blade") == ["still-teeth"]
    assert take(asked, "plate-wobble") == []
    assert take(asked, "fence-square") == ["blade-down", "still-teeth"]


def test_power_that_came_back_for_a_cut_asks_to_unplug_again(asked) -> None:
    take(asked, "fence-square")
    cut = take(asked, "test-board")
    assert {"board-held", "exit-block", "cut-clear", "count-off"} <= set(cut)
    assert {"unplug", "count-off"} <= set(take(asked, "fence-square"))


def test_every_cut_is_warned_of(asked) -> None:
    first, second = take(asked, "test-board"), take(asked, "test-board")
    assert {"board-held", "exit-block", "cut-clear"} <= set(first) & set(second)


def test_every_caution_says_what_it_is_about() -> None:
    about = {c.name: c.about for check in checks().values() for c in check.cautions}
    assert set(about.values()) == {"day", "blade", "power", "cut"}
