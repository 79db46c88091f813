"""The sentences of the doctor: each is used, each fault says what to do, each value has its place."""

from __future__ import annotations

import ast

from source_calls import calls, fields_of

from bench.doctor.templates import FAULTS, GOOD, NOTES

TEMPLATES = {**FAULTS, **NOTES, **GOOD}
NOT_VALUES = {"evidence", "proposal", "figures"}


def given() -> list[tuple[str, set[str]]]:
    """(code, names of the values) of each call in the room; of two codes, by a condition, each."""
    return [
        (code.value, {str(k.arg) for k in call.keywords} - NOT_VALUES)
        for _, _, call in calls("bench/doctor", "diagnosis")
        for code in _codes(call.args[1])
    ]


def _codes(said: ast.expr) -> list[ast.Constant]:
    both = [said.body, said.orelse] if isinstance(said, ast.IfExp) else [said]
    return [one for one in both if isinstance(one, ast.Constant)]


def test_each_call_gives_the_values_of_its_sentence() -> None:
    for code, values in given():
        assert values == fields_of(TEMPLATES[code]), code


def test_each_sentence_is_used_and_each_fault_says_what_to_do() -> None:
    assert len(TEMPLATES) == len(FAULTS) + len(NOTES) + len(GOOD)
    of_other_calls = {
        "few-rejected",
        "many-rejected",
        "log-troubles",
        "troubles",
        "push-limit",
        "push-limit-low",
        "disk-full",
        "disk-free",
    }  # chosen by a condition
    assert {code for code, _ in given()} | of_other_calls == TEMPLATES.keys()
    assert all(" | " in text for text in FAULTS.values())
