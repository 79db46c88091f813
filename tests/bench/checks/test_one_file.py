"""Adding a check is adding one file: one that only this test has is evaluated, listed, taken, logged and shown."""

from __future__ import annotations

import ast
import importlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

import bench
import bench.checks
from bench.checks import checks
from bench.checks.model import Evidence
from bench.cli import cli
from bench.cli.common import CommandError
from bench.demo.operator import DemoError, Operator, connect
from bench.demo.truth import TRUTHS
from bench.log import export, history
from bench.protocol import Begin, ChecksReply, GetChecks
from bench.render.printed_result import result_lines

PAGE = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text("utf-8")
# the example by which the page shows how a check is added
(FILE,) = (text for text in re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL) if "CHECK = Check(" in text)
COMMANDS = ("check", "evaluate", "demo")


def _again() -> None:
    checks.cache_clear()
    for name in COMMANDS:
        importlib.reload(importlib.import_module(f"bench.cli.{name}"))


@pytest.fixture
def one_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The file, in a folder of its own beside those of the checks; the commands are loaded anew, as at a start."""
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "stop_return.py").write_text(FILE)
    with monkeypatch.context() as patched:
        patched.setattr(bench.checks, "__path__", [*bench.checks.__path__, str(tmp_path / "more")])
        _again()
        yield
    sys.modules.pop("bench.checks.stop_return", None)
    _again()


def run(*args: str) -> tuple[object, str]:
    """What the command returns, or the complaint that it ends with; what it printed."""
    done = CliRunner().invoke(cli, args, standalone_mode=False)
    if isinstance(done.exception, CommandError):
        return 2, str(done.exception)
    assert done.exception is None, done.exception
    return done.return_value, done.output


@pytest.mark.usefixtures("one_more")
def test_it_is_listed_and_evaluated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    assert "stop-return" in checks()
    for command in ("check", "evaluate"):
        _, told = run(command, "--help")
        assert "? stop-return: --times COUNT How often it is pressed home." in " ".join(told.split())
    assert "stop-return" in run("demo", "--help")[1]
    path = tmp_path / "stop.csv"
    rows = [f"1,free-end,0,{r}" for r in (2.5, 2.52, 2.51)]
    path.write_text("\n".join(["sweep,placement,travel_mm,reading_mm", *rows]) + "\n")
    assert run("evaluate", "stop-return", str(path), "--most", "0.05 mm")[0] == 0
    status, told = run("evaluate", "stop-return", str(path), "--most", "0.01 mm")
    assert status == 1 and "Spread: 0.02" in told
    for wrong in ("0 mm", "2 in", "much"):
        status, told = run("evaluate", "stop-return", str(path), "--most", wrong)
        assert status == 2 and "stop-return: --most takes a length from 0.001 to 1 mm" in told
    assert run("evaluate", "stop-return", str(path), "--radius", "9 mm")[0] == 2


def test_an_option_of_several_checks_is_described_for_each() -> None:
    """Below its own question; each kind of check is named there."""
    told = " ".join(run("evaluate", "--help")[1].split()).replace("- ", "-")
    for check in checks().values():
        part = told.partition(f"{check.question} {check.kind}: ")[2].partition("? ")[0]
        for option in check.options:
            assert f"{option.words}." in part, (check.kind, option.name)


SETTINGS = """
[indicator]
port = "{indicator}"
[travel]
port = "{travel}"
"""


@pytest.mark.usefixtures("one_more")
async def test_it_is_taken_on_the_virtual_saw_logged_and_shown(first_bench) -> None:
    said: list[str] = []
    async with first_bench(SETTINGS) as rig:
        wire = await rig.talk()
        await rig.reads()
        wire.send(GetChecks())
        listed = (await rig.until(wire, ChecksReply)).checks
        (kind,) = [kind for kind in listed if kind.kind == "stop-return"]
        assert (kind.can, kind.swept) == (True, False)
        assert [option.name for option in kind.options] == ["times", "most"]
        talk = await connect(rig.folder)
        operator = Operator(talk, rig.hands, said.append)
        with pytest.raises(DemoError, match=r"stop-return: times takes a whole number from 2 to 9, not 1\b"):
            await operator.take(Begin("stop-return", options={"times": 1}))
        operator = Operator(talk, rig.hands, said.append)
        finding = await operator.take(Begin("stop-return", options={"times": 2, "most": "0.2 mm"}))
        talk.close()
    assert (finding.check, finding.verdict, finding.quantities[0].tolerance) == ("stop-return", "inside", 0.2)
    assert any("press it home again" in line for line in said)
    assert any("Spread" in line for line in result_lines(finding, "mm"))
    shown = history.show(rig.folder / "log.db", finding.id)
    evidence = msgspec.json.decode(shown.evidence, type=Evidence)
    assert evidence.options == {"times": 2, "most": 0.2}
    assert len(evidence.traces) == 2
    assert "free-end" in "".join(export.exported(rig.folder / "log.db", finding.id, []))


def _literals(text: str) -> Iterator[tuple[int, str]]:
    """Texts of the code: no docstrings and no comments."""
    tree = ast.parse(text)
    docs = {
        id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.lineno, node.value


def test_no_room_but_their_own_knows_a_check_by_name() -> None:
    root = Path(bench.__file__).parent.parent
    # a kind of one plain word may stand in a sentence, but not alone
    one_word = [kind for kind in checks() if "-" not in kind]
    named = re.compile(rf"\b({'|'.join(set(checks()) - set(one_word))})\b|\A({'|'.join(one_word)})\Z")
    demo = root / "bench/demo/truth.py"  # the virtual saw's own table: what it knows of each
    # what each check tells of a cut, and which checks tell of a symptom
    tells = {root / "bench/cut", root / "bench/log/cut_forecast.py"}
    # of quantities, two of which are called as their check
    tells |= {root / "bench/render/names.py", root / "bench/console/drawings/result.py"}
    found = [
        f"{path.relative_to(root)}:{line}: {text!r}"
        for room in ("bench", "hw")
        for path in sorted((root / room).rglob("*.py"))
        if path != demo and not {root / "bench/checks", *tells} & {path, *path.parents}
        if any(kind in (source := path.read_text("utf-8")) for kind in checks())  # else it need not be parsed
        for line, text in _literals(source)
        if named.search(text)
    ]
    assert not found
    assert set(TRUTHS) <= set(checks())  # what the virtual saw does not know is shown without


def test_only_checks_lie_in_view() -> None:
    folder = Path(bench.checks.__file__).parent
    names = {path.stem for path in folder.glob("*.py")} - {"__init__", "model", "options"}
    assert names == {kind.replace("-", "_") for kind in checks()}
