"""The texts that stand in the source itself, read from its syntax tree: labels, titles, keys' words, help, errors.

What a program shows is a string constant or an f-string somewhere. A value in braces becomes a sample, a choice
becomes each of its texts. So a new label or error is in the table of sentences without anybody writing it there.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import islice, product
from pathlib import Path
from typing import NamedTuple

import bench

SAMPLE = "0.12"  # stands for a value
MOST_VARIANTS = 64  # of one expression; only its first ones are told
ROOT = Path(bench.__file__).parent
# rooms whose every text is read by a person; of the others it is only what is raised
WHOLE = {"console": "screen", "cli": "command", "render": "render", "demo": "demo", "doctor": "doctor"}
# of these, what a text is about is a mistake in the program
OWN_ERRORS = {"AssertionError", "KeyError", "NotImplementedError", "RuntimeError", "TypeError", "ValueError"}
SEVERAL = re.compile(r"[A-Za-z]{2}[^\s]*\s+\S*[A-Za-z]")
# their texts count, also of one word
LABELS = {"Binding", "Act", "Row", "ExtraKey", "add_columns"}


class Text(NamedTuple):
    """code: file and line."""

    source: str
    code: str
    text: str


def texts() -> Iterator[Text]:
    """Of all rooms, in the order of files and lines; one that stands twice comes twice."""
    for path in sorted(ROOT.rglob("*.py")):
        where = path.relative_to(ROOT)
        source = WHOLE.get(where.parts[0])
        whole = path.read_text()
        if source is None and "raise " not in whole:  # it need not be parsed
            continue
        tree = ast.parse(whole)
        nodes = list(ast.walk(tree))
        for words in _help(tree) if source == "command" else ():
            yield Text("command", f"{where}", words)
        codes = {key.value for d in nodes if isinstance(d, ast.Dict) for key in d.keys if _is_text(key)}
        for node, expression in _raised(nodes) if source is None else _within(tree, None):
            for text in variants(expression):
                if text not in codes and _is_words(text, node):
                    yield Text(source or "error", f"{where}:{expression.lineno}", text.strip())


def built_sentences(room: str) -> Iterator[Text]:
    """Whole sentences that a room makes from values by itself, in f-strings."""
    for path in sorted((ROOT / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.JoinedStr):
                text = variants(node)[0].strip()
                if text.endswith((".", "?", "!")) and SEVERAL.search(text):
                    yield Text(room, f"{path.relative_to(ROOT)}:{node.lineno}", text)


def page_texts() -> Iterator[Text]:
    """What stands in the templates of the printed pages."""
    for path in sorted((ROOT / "render/report/templates").glob("*.html")):
        reader = _PageReader()
        reader.feed(re.sub(r"{%.*?%}|{#.*?#}", "", re.sub(r"{{.*?}}", SAMPLE, path.read_text())))
        for text in reader.texts:
            if re.search("[A-Za-z]{2}", text):
                yield Text("report", path.name, text)


class _PageReader(HTMLParser):
    """The text of each paragraph, cell, item and heading."""

    INLINE = {"strong", "span", "code", "a"}  # noqa: RUF012

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = [""]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self.INLINE:
            self.texts.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.INLINE:
            self.texts.append("")

    def handle_data(self, data: str) -> None:
        self.texts[-1] = " ".join(f"{self.texts[-1]} {data}".split())


def _help(tree: ast.Module) -> Iterator[str]:
    """What `--help` says of each command: its docstring without the example."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and any(
            "command(" in ast.unparse(d) for d in node.decorator_list
        ):
            for paragraph in (ast.get_docstring(node) or "").split("\n\n"):
                words = " ".join(paragraph.split())
                if words and "Example" not in words and "\b" not in words:
                    yield words


def _is_words(text: str, holder: ast.AST | None) -> bool:
    """Whether a person reads it: no name, no style, no list of what is watched."""
    words = text.split()
    if not words or text.startswith("import ") or "$" in text or "%(" in text or "{" in text:
        return False
    if re.match(r"[\w-]+=[^|]*\|", text):  # a choice that templates are made with
        return False
    labelled = isinstance(holder, ast.Call) and _called(holder) in LABELS
    return bool(SEVERAL.search(text)) or (labelled and bool(re.search("[a-z]{3}", text)))


def _called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def _raised(nodes: list[ast.AST]) -> Iterator[tuple[ast.AST | None, ast.expr]]:
    """Each text of an error with what it stands in, the outermost expression that makes it."""
    for node in nodes:
        if isinstance(node, ast.Raise) and _tells(node):
            yield from _within(node, None)


def _tells(node: ast.Raise) -> bool:
    """Whether an error says something to the person, and not to the programmer."""
    return isinstance(node.exc, ast.Call) and _called(node.exc) not in OWN_ERRORS


def _within(node: ast.AST, holder: ast.AST | None) -> Iterator[tuple[ast.AST | None, ast.expr]]:
    if isinstance(node, ast.expr) and _makes_text(node):
        yield holder, node
        return
    if isinstance(node, ast.Call) and _called(node) == "entries":  # templates are read where they are used
        return
    if isinstance(node, ast.Raise) and not _tells(node):
        return
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "slice", "ops", "comparators", "keys"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _is_docstring(child, node):
                yield from _within(child, node)


def _is_docstring(child: ast.AST, node: ast.AST) -> bool:
    return isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant)


def _is_text(node: ast.AST | None) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _makes_text(node: ast.expr) -> bool:
    if isinstance(node, ast.Constant):
        return _is_text(node)
    if isinstance(node, ast.BinOp):
        return isinstance(node.op, ast.Add) and (_makes_text(node.left) or _makes_text(node.right))
    if isinstance(node, ast.IfExp):
        return _makes_text(node.body) or _makes_text(node.orelse)
    return isinstance(node, ast.JoinedStr)


def variants(node: ast.expr) -> list[str]:
    """Every text that the expression can make, with a sample for what is not written there."""
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    if isinstance(node, ast.FormattedValue):
        return variants(node.value) if not isinstance(node.value, ast.Constant) else [SAMPLE]
    if isinstance(node, ast.JoinedStr):
        parts = [variants(part) for part in node.values]
        return ["".join(one) for one in islice(product(*parts), MOST_VARIANTS)]
    if isinstance(node, ast.IfExp):
        return [*variants(node.body), *variants(node.orelse)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        pairs = product(variants(node.left), variants(node.right))
        return [one + other for one, other in islice(pairs, MOST_VARIANTS)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult) and _makes_text(node.left):
        return [*variants(node.left), ""]
    return [SAMPLE]
