"""What the house promises of itself and a program can see: who imports whom, what is named where, how long files are."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
import rooms
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

from hw.formats import FORMATS

ROOT = Path(__file__).parents[1]
LONGEST_FILE = 350  # lines
TYPES = {"finding.py", "gear.py"}  # all that lies at the top of bench
ENGLISH = {
    "line",
    "plain",
    "bridge",
    "mux",
}  # words that sentences may use; as a whole string they are names all the same


def test_imports_run_one_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == EXIT_STATUS_SUCCESS


FORBIDDEN = (
    ("bench/geometry/new_file.py", "bench.daemon", "the pure rooms"),
    ("bench/stream/new_file.py", "time", "the pure rooms"),
    ("hw/new_file.py", "bench.units", "hw knows nothing of checks"),
    ("bench/console/new_file.py", "bench.log.findings", "the console reaches the rest"),
    ("bench/log/new_file.py", "tomllib", "only the settings room reads TOML"),
    ("bench/checks/new_file.py", "bench.render.finding", "imports run down the house"),
)


def test_a_forbidden_import_in_a_new_file_is_caught(tmp_path: Path) -> None:
    """Each of them under the contract that forbids it; planted together, as one look at the tree takes long."""
    for name in ("bench", "hw"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for file, module, _ in FORBIDDEN:
        (tmp_path / file).write_text(f"import {module}\n")
    program = "from importlinter.cli import lint_imports_command as run; run()"
    result = subprocess.run(
        [sys.executable, "-c", program, "--no-cache"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(tmp_path), "NO_COLOR": "1"},
    )
    assert result.returncode != 0
    chains: dict[str, str] = {}  # of imports, by the contract that they break
    rows = result.stdout.splitlines()
    for row, next_row in pairwise(rows):
        if row and next_row == "-" * len(row):
            contract = row
            chains[contract] = ""
        elif chains:
            chains[contract] += row + "\n"
    for file, module, contract in FORBIDDEN:
        importer = file.removesuffix(".py").replace("/", ".")
        (told,) = [told for name, told in chains.items() if name.startswith(contract)]
        assert re.search(rf"\b{importer} -> {module}\b", told), result.stdout[-2000:]


def strings(source: str) -> Iterator[tuple[int, str]]:
    """Every string of a module but its docstrings, with its line; the parts of a formatted one each for itself."""
    tree = ast.parse(source)
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    first = [node.body[0] for node in ast.walk(tree) if isinstance(node, documented) and node.body]
    said = {id(one.value) for one in first if isinstance(one, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.lineno, node.value


def named(source: str) -> list[tuple[int, str]]:
    """The strings that name a wire format or a profile."""
    names = {*FORMATS, *(profile for known in FORMATS.values() for profile in known.profiles)}
    within = re.compile(rf"\b({'|'.join(names - ENGLISH)})\b")
    if not within.search(source) and not re.search(rf"[\"']({'|'.join(ENGLISH)})[\"']", source):
        return []  # it need not be parsed
    return [(line, text) for line, text in strings(source) if text in names or within.search(text)]


def test_no_file_outside_hw_names_a_format() -> None:
    for path in sorted((ROOT / "bench").rglob("*.py")):
        if "console" not in path.parts:  # which has no way to a format: the contract on its imports says so
            assert named(path.read_text("utf-8")) == [], path


@pytest.mark.parametrize(
    "source",
    [
        'if port.format == "line": pass',
        'x = "read with the format wedge"',
        'x = f"{port}: profile mode_letter"',
        'PROFILES = ("plain", "mux")',
    ],
)
def test_a_name_would_be_seen(source: str) -> None:
    assert named(source)
    assert not named(f'def f():\n    """{source.replace(chr(34), "")}"""')


def test_no_file_is_longer_than_350_lines() -> None:
    paths = [path for room in ("bench", "hw") for path in (ROOT / room).rglob("*.py")]
    long = {
        path.relative_to(ROOT).as_posix()
        for path in paths
        if len(path.read_text("utf-8").splitlines()) > LONGEST_FILE
    }
    assert long == set(), "split these by noun, or make them shorter"


def test_the_developers_page_names_every_file_in_its_room() -> None:
    assert rooms.folders() == set(rooms.ROOMS), "name the room in tests/benchmarks/rooms.py"
    text = rooms.PAGE.read_text("utf-8")
    assert text == rooms.page(text), "run: python tests/benchmarks/rooms.py --write"


def test_every_file_says_what_it_is_for() -> None:
    dumb = [path for room in rooms.ROOMS for path in rooms.files(room) if not rooms.purpose(path)]
    assert dumb == []


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_path_that_a_page_names_is_there(page: str) -> None:
    within = re.compile(r"(?<![\w/~.])((?:bench|hw|tests|fixtures|systemd|\.ci)/[\w./-]*[\w/])")
    paths = within.findall((ROOT / page).read_text("utf-8"))
    assert paths
    assert [path for path in paths if not (ROOT / path).exists() and not (ROOT / f"{path}.py").exists()] == []


def test_at_the_top_of_bench_lie_only_types_that_all_share() -> None:
    assert {path.name for path in (ROOT / "bench").glob("*.py")} == {"__init__.py", *TYPES}
    for name in TYPES:
        tree = ast.parse((ROOT / "bench" / name).read_text("utf-8"))
        within = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        shared = {"bench.units", *(f"bench.{one.removesuffix('.py')}" for one in TYPES)}
        assert [room for room in within if room.startswith("bench.") and room not in shared] == []


@pytest.mark.parametrize(
    ("module", "without"),
    [
        ("bench.daemon.service", {"numpy", "pint", "scipy", "textual", "sqlite_utils", "click", "jinja2"}),
        (
            "bench.console.app",
            {"numpy", "pint", "scipy", "sqlite3", "tomlkit", "serial", "gpiozero", "jinja2"},
        ),
        (
            "bench.cli",
            {"numpy", "pint", "scipy", "sqlite3", "tomlkit", "serial", "gpiozero", "textual", "jinja2"},
        ),
    ],
)
def test_what_is_dear_to_import_is_not_imported_at_the_start(module: str, without: set[str]) -> None:
    program = f"import sys, {module}; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert module in done.stdout.split()
    assert without & set(done.stdout.split()) == set()


def test_what_every_change_must_pass_is_the_readmes_test_command() -> None:
    commands = [line for line in (ROOT / "README.md").read_text("utf-8").splitlines() if "[test]" in line]
    assert len(commands) == 1 and commands[0].endswith('pytest -m "not slow"')
    assert commands[0] in (ROOT / ".ci/run").read_text("utf-8").splitlines()


def test_what_is_sorted_by_is_sorted_the_same_on_every_processor() -> None:
    """numpy's quick argsort depends on the processor where values tie, and crashed on an emulated one."""
    wild = re.compile(r"np\.argsort\((?!.*stable)|return_inverse")
    files = [path for room in ("bench", "hw") for path in (ROOT / room).rglob("*.py")]
    assert not [str(path) for path in files if wild.search(path.read_text("utf-8"))]


ROOMS_OF_NAMED_CONSTANTS = ("hw", "bench/stream", "bench/settings", "bench/doctor", "bench/cli", "bench/demo")


def test_a_constant_has_its_name_for_itself() -> None:
    """In the rooms that keep to it: one name, one value. FORMAT is what makes a file of hw/formats a format."""
    values: dict[str, set[str]] = {}
    files = [file for room in ROOMS_OF_NAMED_CONSTANTS for file in sorted((ROOT / room).rglob("*.py"))]
    for file in files:
        for line in ast.parse(file.read_text()).body:
            names = line.targets if isinstance(line, ast.Assign) else []
            for name in names:
                if isinstance(name, ast.Name) and name.id.isupper() and name.id != "FORMAT":
                    values.setdefault(name.id, set()).add(ast.unparse(line.value))
    assert len(files) > 100
    assert {name: each for name, each in values.items() if len(each) > 1} == {}
