"""How long is waited stands in one table, and the service's own time agrees with it."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from hw import timeouts

ROOT = Path(__file__).parents[1]
WAITS = {"wait_for", "settimeout", "timeout", "join", "wait"}
A_WAIT = re.compile(rf"\b({'|'.join(sorted(WAITS))})\b")  # no file without one of these words is parsed
# of these a number is the time of something else than the machine's: what a hand or an instrument does
HANDS = {"bench/demo/hands_client.py", "bench/demo/hand_actions.py"}


def numbers_as_waits(source: str) -> Iterator[int]:
    """Lines on which a number is given to something that waits."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            given = [one.value for one in node.keywords if one.arg == "timeout"]
            given += node.args[-1:] if name in WAITS else []
            if any(isinstance(one, ast.Constant) and isinstance(one.value, (int, float)) for one in given):
                yield node.lineno


def test_a_number_as_a_wait_is_found() -> None:
    assert list(numbers_as_waits("await asyncio.wait_for(x, 2.0)\nsocket.settimeout(ANSWER_S)")) == [1]


def test_no_room_has_a_wait_of_its_own() -> None:
    found = {
        f"{path.relative_to(ROOT)}:{line}"
        for room in ("bench", "hw")
        for path in sorted((ROOT / room).rglob("*.py"))
        if path.relative_to(ROOT).as_posix() not in HANDS
        if A_WAIT.search(source := path.read_text("utf-8"))
        for line in numbers_as_waits(source)
    }
    assert found == set(), "name it in hw/timeouts.py, with its reason"


def test_every_wait_is_used() -> None:
    text = "".join(
        path.read_text("utf-8") for room in ("bench", "hw") for path in (ROOT / room).rglob("*.py")
    )
    text += (ROOT / "systemd" / "sweepgauge.service").read_text("utf-8")
    names = [name for name in vars(timeouts) if name.isupper() and name not in ("WATCHDOG_S", "START_S")]
    times = Counter(re.findall(r"\b[A-Z][A-Z_]+\b", text))
    assert [name for name in names if times[name] < 2] == []


@pytest.mark.parametrize(
    ("setting", "seconds"), [("WatchdogSec", timeouts.WATCHDOG_S), ("TimeoutStartSec", timeouts.START_S)]
)
def test_the_service_waits_as_the_table_says(setting: str, seconds: float) -> None:
    unit = (ROOT / "systemd" / "sweepgauge.service").read_text("utf-8")
    assert re.search(rf"^{setting}=({seconds:g})$", unit, flags=re.MULTILINE)
    assert timeouts.HANG_SILENCES * timeouts.ANSWER_S > 2 * timeouts.WATCHDOG_S
    assert timeouts.DEMO_END_S > timeouts.LOG_CLOSE_S + timeouts.LOG_SOUNDNESS_END_S
