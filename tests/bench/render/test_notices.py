"""Every code has its sentence, every sentence its code; and no other room reads a sentence."""

from __future__ import annotations

import ast
import re
import string
from functools import cache
from pathlib import Path

import pytest
from source_calls import calls, fields_of

import bench
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import StatusMessage
from bench.protocol import Cable, Cables, Notice, PassNotice, PromptChanged
from bench.render import prompts
from bench.render.notices import SENTENCES, TEMPLATES, text, with_words

# the findings' notes are made in mm and turned to inches there
NOT_YET = "checks/shared/note_units.py"

ROOT = Path(bench.__file__).parent
TEXTS = {"words", "text", "sentence", "remark"}  # names of what is shown to a person
A_TEXT = re.compile(rf"\b({'|'.join(sorted(TEXTS))})\b")
READS = {"startswith", "endswith", "removeprefix", "removesuffix", "find", "index", "split", "partition"}
PATTERNS = {"search", "match", "fullmatch", "findall", "finditer", "sub", "split"}


def codes_of(node: ast.expr, names: dict[str, set[str]]) -> set[str]:
    """The codes that an expression may stand for: a constant, one of two, or a local name for those."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return {node.value}
    if isinstance(node, ast.IfExp):
        return codes_of(node.body, names) | codes_of(node.orelse, names)
    if isinstance(node, ast.Name):
        return names.get(node.id, set())
    if isinstance(node, ast.Dict):  # each told where its condition is met
        return {key.value for key in node.keys if isinstance(key, ast.Constant)} & TEMPLATES.keys()
    if isinstance(node, ast.Call):  # the first of such a table
        return set().union(*(names.get(one.id, set()) for one in ast.walk(node) if isinstance(one, ast.Name)))
    if isinstance(node, ast.Subscript):  # of a table: its texts are those with a template
        return {
            one.value
            for table in names.get("_tables", set())
            for one in ast.walk(ast.parse(table))
            if isinstance(one, ast.Constant) and one.value in TEMPLATES
        }
    return set()


@cache  # a tree stays the same object while its calls are gone through
def names_of(module: ast.Module) -> dict[str, set[str]]:
    """The codes that each local name of a module may stand for; its tables as `_tables`."""
    names: dict[str, set[str]] = {
        "_tables": {ast.unparse(one) for one in module.body if isinstance(one, ast.Assign | ast.AnnAssign)}
    }
    for node in ast.walk(module):
        if isinstance(node, ast.Assign):
            target, value = node.targets[0], node.value
            if isinstance(target, ast.Tuple):  # the code and its values' names, out of a table
                target, value = target.elts[0], ast.Subscript(node.value, node.value)
            if isinstance(target, ast.Name):
                names[target.id] = names.get(target.id, set()) | codes_of(value, names)
    handed = {f.name for f in ast.walk(module) if isinstance(f, ast.FunctionDef) and "code" in _parameters(f)}
    for node in ast.walk(module):  # what is handed to a function of the module as its `code`
        if isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in handed:
            constants = {one.value for one in node.args if isinstance(one, ast.Constant)}
            names["code"] = names.get("code", set()) | (constants & (TEMPLATES.keys() | SENTENCES.keys()))
    return names


def _parameters(function: ast.FunctionDef) -> set[str]:
    return {one.arg for one in function.args.args}


def test_every_code_has_a_template_and_every_template_is_used() -> None:
    used: set[str] = set()
    for path in ROOT.rglob("*.sql"):  # a reason that a statement writes
        used |= set(re.findall(r'"code":"([a-z-]+)"', path.read_text("utf-8")))
    for path, module, call in calls("bench", "StatusMessage", "status"):
        if "render" in path.parts or path.name == "status_message.py":
            continue
        codes = codes_of(call.args[0], names_of(module))
        assert codes, f"{path}:{call.lineno}: the code is not to be seen where the remark is made"
        unknown = codes - TEMPLATES.keys() - SENTENCES.keys()
        assert not unknown, f"{path}:{call.lineno}: no template for {unknown}"
        used |= codes
    assert used == TEMPLATES.keys() | SENTENCES.keys()


def test_each_message_has_the_values_of_its_sentence() -> None:
    """Where they stand beside the code; a message without any has a sentence without any."""
    looked = 0
    for path, _, call in calls("bench", "StatusMessage", "status"):
        given = {one.arg for one in call.keywords}
        if None in given or len(call.args) > 1:  # they come in a dictionary
            continue
        for code in codes_of(call.args[0], {}) & TEMPLATES.keys():
            looked += 1
            assert fields_of(TEMPLATES[code]) <= given, f"{path}:{call.lineno}: {code}"
    assert looked > 60


def reads_a_sentence(node: ast.AST) -> bool:
    """`"..." in x.words`, `x.words.endswith(...)`, `re.search(..., x.words)`, `x.words == "..."`."""
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        constant = any(
            isinstance(one, ast.Constant) and isinstance(one.value, str) and one.value for one in sides
        )
        inside = any(isinstance(one, ast.In | ast.NotIn) for one in node.ops)
        return (constant or inside) and any(_is_text(one, inside) for one in sides[1 if inside else 0 :])
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr in READS:
            return _is_text(node.func.value, True)
        if node.func.attr in PATTERNS:
            return any(_is_text(one, True) for one in node.args)
    return False


def _is_text(node: ast.AST, bare: bool) -> bool:
    """`x.words`, `words`, and what `lower()` or `strip()` makes of them."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        return node.func.attr in ("lower", "strip", "casefold") and _is_text(node.func.value, bare)
    if isinstance(node, ast.Attribute):
        return node.attr in TEXTS
    return bare and isinstance(node, ast.Name) and node.id in TEXTS - {"text", "remark"}


@pytest.mark.parametrize(
    ("line", "reads"),
    [
        ('"went away" in message.words', True),
        ("name in message.words.lower()", True),
        ('words.endswith("?")', True),
        ('re.search("left", ask.words)', True),
        ('message.words == "Done."', True),
        ("message.words != self.words", False),
        ('"hold" in message.flags', False),
        ('code == "pass-kept"', False),
    ],
)
def test_the_search_sees_a_sentence_that_is_read(line: str, reads: bool) -> None:
    assert any(reads_a_sentence(node) for node in ast.walk(ast.parse(line))) is reads


def test_no_room_but_render_reads_a_sentence() -> None:
    found = [
        f"{path}:{node.lineno}"
        for path in sorted(ROOT.rglob("*.py"))
        if "render" not in path.parts and not path.as_posix().endswith(NOT_YET)
        if A_TEXT.search(source := path.read_text("utf-8"))  # else it need not be parsed
        for node in ast.walk(ast.parse(source))
        if reads_a_sentence(node)
    ]
    assert found == []


def test_every_template_is_a_whole_sentence() -> None:
    reasons = {
        "too-short",
        "short-return",
        "return-of-refused",
        "return-of-undone",
        "marks-undone",
        "recording",
        "saving",
    }  # of the log, and of whether it is written
    for code, template in (TEMPLATES | prompts.TEMPLATES).items():
        list(string.Formatter().parse(template))
        assert code in reasons or template.endswith((".", "?", "}", ": good.")), code


def test_words_are_in_the_units_of_whoever_reads_them() -> None:
    remark = StatusMessage("lean-proved", {"side": "left", "play": 0.1016})
    assert text([remark]) == "The indicator stands on the left, as it should. Play 0.102 mm."
    assert text([remark], "inch") == "The indicator stands on the left, as it should. Play 4 thou."


def test_a_message_gets_its_words_where_it_leaves() -> None:
    sweep = with_words(
        PassNotice("s", "p", "kept", remarks=[StatusMessage("pass-kept", {"taken": 1, "wanted": 3})]), "mm"
    )
    assert isinstance(sweep, PassNotice) and sweep.words == "1 of 3 kept."
    ask = Prompt(
        "mark", at=75.0, mark=2, marks=3, taken=1, because=StatusMessage("too-few-readings", {"readings": 3})
    )
    asking = with_words(PromptChanged("r", ask=ask), "mm")
    assert isinstance(asking, PromptChanged) and asking.ask is not None
    assert asking.ask.words == "Push to the mark at 75 mm and stop. Press Enter, hold still."
    assert asking.ask.remark == "Only 3 readings came in that pass. Push slower. Or is the cable loose?"
    (cable,) = with_words(
        Cables([Cable("/dev/a", "a", "silent", remarks=[StatusMessage("cable-asleep")])]), "mm"
    ).cables
    assert cable.words == "It has fallen silent: is the instrument asleep?"
    given = Notice("log", "The log is written again.")
    assert with_words(given, "mm") == given
