"""`symptom`: each symptom ends in a check or in a plain act; a rip that is pinched is a danger first."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from bench.checks import checks
from bench.cli.symptom import symptom
from bench.cut.symptoms import SYMPTOMS

# the table of the design: what is seen, and the checks in order
TABLE = {
    "always-out": ["fence-square", "fence-straight", "test-board"],
    "varies": ["side-play", "runner-fit", "fence-square"],
    "long-boards-out": ["fence-straight"],
    "binds-at-one-place": ["runner-fit"],
    "binds-in-summer": ["runner-fit"],
    "rattles": ["side-play", "runner-fit"],
    "burnt-edge": ["slot-blade", "rip-fence"],
    "rip-pinched": ["rip-fence"],
    "rough-edge": ["plate-wobble", "slot-blade"],
    "gap-in-joint": ["upright", "test-board"],
    "was-square": ["fence-square"],
}


def told(*args: str) -> list[dict]:
    done = CliRunner().invoke(symptom, [*args, "--json"], standalone_mode=False)
    assert done.exception is None
    return json.loads(done.output)["symptoms"]


def test_the_table_leads_to_its_checks_in_order() -> None:
    listed = {one["name"]: one for one in told()}
    assert next(iter(listed)) == "rip-pinched"  # what can hurt comes first
    known = checks()
    for name, kinds in TABLE.items():
        found = [check["check"] for check in listed[name]["checks"]]
        assert found == [kind for kind in kinds if kind in known], name
    assert set(listed) == set(TABLE)


def test_every_symptom_ends_in_a_check_or_an_act_and_says_what_it_shows() -> None:
    for one in told():
        assert one["seen"] and (one["checks"] or one["act"])
        assert all(check["shows"] for check in one["checks"])


def test_only_what_throws_work_back_is_a_danger_and_says_stop_first() -> None:
    (danger,) = [one for one in told() if one["danger"]]
    assert danger["name"] == "rip-pinched" and danger["act"].startswith("Stop ripping at once")
    words = CliRunner().invoke(symptom, ["rip-pinched"], standalone_mode=False).output.splitlines()
    assert words[1].strip().startswith("DANGER: Stop ripping at once")


def test_one_by_its_name_and_one_that_there_is_not() -> None:
    assert [one["name"] for one in told("rattles")] == ["rattles"]
    done = CliRunner().invoke(symptom, ["squeaks"], standalone_mode=False)
    assert "no symptom is called 'squeaks'; there are: rip-pinched" in str(done.exception)


@pytest.mark.parametrize("one", SYMPTOMS, ids=lambda one: one.name)
def test_sentences_are_short(one) -> None:
    (found,) = told(one.name)
    sentences = [found["seen"], *(f"shows {check['shows']}" for check in found["checks"])]
    sentences += (found["act"] or "").split(". ")
    assert all(len(sentence.split()) <= 12 for sentence in sentences)
