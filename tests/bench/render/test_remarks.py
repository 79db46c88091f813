"""Every code that any room gives has a sentence, with the values it is given, and no sentence is without a code."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from source_calls import fields_of

import bench
from bench.finding import Doubt, Finding, Remark
from bench.render.remark_templates import TEMPLATES
from bench.render.remarks import notes_of, remark_words, with_notes

FIELDS = tuple(Remark.__struct_fields__)
ALWAYS = {"placement", "pass", "where"}
EARLIER = {"move-saw"}  # in logs of earlier versions only
MAKERS = {"note", "warning", "act", "refusal", "doubt"}


def given() -> Iterator[tuple[str, str, set[str], set[str]]]:
    """Where, code, values and other fields of every remark that is made anywhere."""
    for path in sorted(Path(bench.__path__[0]).rglob("*.py")):
        text = path.read_text()
        if path.name == "finding.py" or "bench.finding import" not in text:  # the first makes the makers
            continue
        tree = ast.parse(text)
        taken = [n for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.module == "bench.finding"]
        makers = MAKERS & {name.name for node in taken for name in node.names}
        for function in ast.walk(tree):
            if not isinstance(function, ast.FunctionDef | ast.Module):
                continue
            named: dict[str, list[set[str]]] = {}
            for node in _own(function):
                if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict):
                    for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                        if isinstance(target, ast.Name):
                            named.setdefault(target.id, []).append(_keys(node.value))
                elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in makers:
                    for code in _codes(node.args[0], f"{path.name}:{node.lineno}"):
                        yield f"{path.name}:{node.lineno}", code, *_made(node, named)
                elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("Remark", "Doubt"):
                    fields = dict(zip(FIELDS, node.args, strict=False))
                    fields |= {str(k.arg): k.value for k in node.keywords}
                    where = f"{path.name}:{node.lineno}"
                    values = fields.get("values", ast.Dict([], []))
                    if isinstance(values, ast.Name):  # the last dictionary of that name before it
                        keys = named[values.id][-1]
                    else:
                        assert isinstance(values, ast.Dict), where
                        keys = _keys(values)
                    for code in _codes(fields["code"], where):
                        yield where, code, keys, set(fields)


def _made(call: ast.Call, named: dict[str, list[set[str]]]) -> tuple[set[str], set[str]]:
    """Values and other fields of a remark by one of its makers: each keyword but placement and sweep is a value."""
    fields, keys = set(FIELDS[: len(call.args)]), set()
    for keyword in call.keywords:
        if keyword.arg in FIELDS:
            fields.add(keyword.arg)
        elif keyword.arg is not None:
            keys.add(keyword.arg)
        elif isinstance(keyword.value, ast.Dict):
            keys |= _keys(keyword.value)
        else:  # the last dictionary of that name before it
            keys |= named[keyword.value.id][-1]  # type: ignore[attr-defined]
    return keys, fields


def _own(function: ast.AST) -> list[ast.AST]:
    """Its statements in their order, but not those of functions inside it."""
    nodes: list[ast.AST] = []
    waiting = list(ast.iter_child_nodes(function))
    while waiting:
        node = waiting.pop(0)
        if isinstance(node, ast.FunctionDef):
            continue
        nodes.append(node)
        waiting = [*ast.iter_child_nodes(node), *waiting]
    return sorted(nodes, key=lambda node: (getattr(node, "lineno", 0), isinstance(node, ast.Call)))


def _keys(dictionary: ast.Dict) -> set[str]:
    return {key.value for key in dictionary.keys if isinstance(key, ast.Constant)}


def _codes(code: ast.expr, where: str) -> list[str]:
    if isinstance(code, ast.IfExp):
        return [*_codes(code.body, where), *_codes(code.orelse, where)]
    assert isinstance(code, ast.Constant) and isinstance(code.value, str), f"{where}: a code is a plain word"
    return [code.value]


def test_each_code_has_a_sentence_with_its_values_and_each_sentence_a_code() -> None:
    codes = set()
    for where, code, values, others in given():
        codes.add(code)
        assert code in TEMPLATES, f"{where}: bench.render.remark_templates has no sentence for {code}"
        shown = fields_of(TEMPLATES[code])
        assert shown - ALWAYS <= values, f"{where}: {code} lacks {shown - ALWAYS - values}"
        assert values <= shown, f"{where}: nobody is shown {values - shown} of {code}"
        if {"placement", "sweep"} & shown:  # `where` does without a placement
            assert "placement" in others, f"{where}: {code} tells no placement"
    assert codes | EARLIER == set(TEMPLATES)


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_each_sentence_is_a_sentence_in_both_units(units: str) -> None:
    names: dict[str, object] = {
        "walls": ["left", "right"], "set_ups": ["a", "b"], "counts": [0.001, 0.0254], "places": [1.5, 2.5],
        "leaves": [0.05, 0.1],
        "readings": 12, "turns": 4, "said": 3, "read": 6,
        "part": "blade", "source": "log", "proof": "unleaned", "which": "travel", "other": "indicator",
    }  # fmt: skip
    for code, template in TEMPLATES.items():
        values = {name: names.get(name, 0.25) for name in fields_of(template) - ALWAYS}
        if code == "pass-few-places":
            values["places"] = 3
        words = remark_words(Remark(code, "handle-left", "3", values, "note"), units)  # type: ignore[arg-type]
        assert template[0].isupper() or template[0] == "{", words
        assert words[-1] in ".?" or code.startswith("noted"), words
        assert "{" not in words and "  " not in words and not words.startswith(f"{code}: ")


def test_what_a_newer_version_says_is_shown_by_its_code() -> None:
    newer = Remark("of-tomorrow", values={"size": 0.5})
    assert remark_words(newer, "mm") == "of-tomorrow: size 0.5."
    assert remark_words(Remark("frozen", "front"), "mm") == "frozen: no values."


def test_a_refused_pass_is_named_where_it_is_known() -> None:
    why = Remark("pass-without-travel", severity="refused")
    assert remark_words(why, "mm") == "The travel does not move."
    named = msgspec.structs.replace(why, placement="front", sweep="2")
    assert remark_words(named, "mm") == "Pass 2 at front is not used. The travel does not move."


def test_doubts_come_first_and_one_remark_can_be_left_out() -> None:
    doubt, wrong, wall = (
        Doubt("steep", "front", values={"slope": 0.5}),
        Remark("moved-wrong-way"),
        Remark("wall", values={"wall": "left"}),
    )
    finding = with_notes(Finding(check="x", quantities=[], doubts=[doubt], remarks=[wrong, wall]), "mm")
    assert [note.split()[0] for note in finding.notes] == ["At", "The", "The"]
    assert notes_of(finding, "mm", but=[wrong]) == [finding.notes[0], finding.notes[2]]
    again = msgspec.json.decode(msgspec.json.encode(finding), type=Finding)
    assert again == finding and again.doubts[0].severity == "doubt"


def test_notes_without_codes_stay_as_they_stand() -> None:
    earlier = Finding(check="x", quantities=[], notes=["As it was said."])
    assert notes_of(earlier, "inch") == ["As it was said."]
