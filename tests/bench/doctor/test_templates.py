"""The sentences of the doctor: each is used, each fault says what to do, each value has its place."""

from __future__ import annotations

import ast
from pathlib import Path
from string import Formatter

import bench.doctor
from bench.doctor.templates import FAULTS, GOOD, NOTES

TEMPLATES = {**FAULTS, **NOTES, **GOOD}
NOT_VALUES = {"evidence", "proposal", "figures"}


def calls() -> list[tuple[str, set[str]]]:
    """(code, names of the values) of each call in the room."""
    found = []
    for path in Path(bench.doctor.__path__[0]).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            is_call = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "diagnosis"
            if is_call and isinstance(node.args[1], ast.Constant):
                found.append((node.args[1].value, {str(k.arg) for k in node.keywords} - NOT_VALUES))
    return found


def test_each_call_gives_the_values_of_its_sentence() -> None:
    for code, values in calls():
        assert values == {name for _, name, _, _ in Formatter().parse(TEMPLATES[code]) if name}, code


def test_each_sentence_is_used_and_each_fault_says_what_to_do() -> None:
    assert len(TEMPLATES) == len(FAULTS) + len(NOTES) + len(GOOD)
    of_other_calls = {
        "few-rejected",
        "many-rejected",
        "log-troubles",
        "troubles",
        "push-limit",
        "push-limit-low",
    }  # chosen by a condition
    assert {code for code, _ in calls()} | of_other_calls == TEMPLATES.keys()
    assert all(" | " in text for text in FAULTS.values())
