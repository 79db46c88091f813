"""Every kind of check by keys, through a real daemon: its options, its cautions, its set-ups drawn, its result.

The instruments are pseudo-terminals of this file's own; what they show is made up, and the result is compared with
what was made up. Marks and one indicator, and a caliper for the widths.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import os
import time
import tty
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest
import turns
from console_job import rows

from bench.checks import checks
from bench.console import requests
from bench.console.app import make_console
from bench.demo.daemon_process import end_daemon, start_daemon
from bench.procedure.number_taking import HASTE_S
from bench.protocol import Finding, Prompt

SETTINGS = """
[indicator]
port = "{indicator}"
resolution = "0.001 mm"
[travel]
marks = ["0 mm", "30 mm", "60 mm", "90 mm", "120 mm", "150 mm", "180 mm", "210 mm"]
[caliper]
port = "{caliper}"
resolution = "0.01 mm"
[saw.cabinet]
rip_fence = "right"
parallel = "0.05 mm per 150 mm"
toe = "0.08 mm per 500 mm"
wobble = "0.05 mm"
[jig.big-sled]
saw = "cabinet"
pivot = "right"
pivot_to_blade = "250 mm"
pivot_to_screw = "500 mm"
pivot_to_stop = "480 mm"
widest_board = "400 mm"
tolerance = "0.05 mm per 300 mm"
[leaves]
set = ["0.04 mm", "0.05 mm", "0.10 mm"]
"""
LEANS = {"leaned-left": 2.45, "leaned-right": 2.55, "twisted-left": 2.46, "twisted-right": 2.54}


class Cables:
    """An indicator and a caliper that show what a test wants shown, fifty times a second."""

    def __init__(self, folder: Path) -> None:
        self.values = {"indicator": 2.5, "caliper": 19.0}
        self.names: dict[str, str] = {}
        self._ends: list[tuple[int, int, str]] = []
        for name in self.values:
            master, slave = os.openpty()
            tty.setraw(slave)
            os.set_blocking(master, False)
            self.names[name] = os.ttyname(slave)
            self._ends.append((master, slave, name))
        (folder / "settings.toml").write_text(SETTINGS.format(**self.names))
        self._task = asyncio.create_task(self._send())

    async def _send(self) -> None:
        while True:
            for master, _, name in self._ends:
                with contextlib.suppress(BlockingIOError):
                    os.write(master, f"{self.values[name]:+.3f} mm\r\n".encode())
            await asyncio.sleep(0.02)

    async def close(self) -> None:
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)
        for master, slave, _ in self._ends:
            os.close(master)
            os.close(slave)


@pytest.fixture
async def bench(tmp_path: Path) -> AsyncIterator[tuple[Cables, Path]]:
    cables = Cables(tmp_path)
    daemon = await start_daemon(tmp_path)
    yield cables, tmp_path
    await end_daemon(daemon)
    await cables.close()


async def until(app, met: Callable[[], bool], seconds: float = 60.0) -> str:
    """What stands on the screen once it is so and all of it is drawn."""

    def still() -> bool:
        return app._timer is None and not app.screen._update_timer._active.is_set()

    await turns.until(lambda: met() and still(), seconds, lambda: "\n".join(rows(app)), at_rest=True)
    return "\n".join(rows(app))


async def choose(app, pilot, kind: str) -> None:
    """From the jig's state to the form of that check."""
    await until(app, lambda: app.view.status_known and bool(app.view.checks) and app.view.gear is not None)
    await until(app, lambda: getattr(app.screen, "page", "") == "home")
    await pilot.press("1")
    await until(app, lambda: app.screen.page == "checks" and bool(app.screen.rows()))
    place = next(n for n, one in enumerate(app.view.checks, 1) if one.kind == kind)
    # digits take the first nine rows, the arrow and Enter any of them
    await pilot.press(*([str(place)] if place < 10 else [*["down"] * (place - 1), "enter"]))
    await until(app, lambda: app.screen.page == "options" and bool(app.screen.rows()))


def form(app) -> None:
    """Every option of the check has a row, with its words and what it is when nothing is said; those that are seldom
    told stand behind one row."""
    kind = app.screen.kind
    words = [row.words for row in app.screen.rows()]
    seldom = [o for o in kind.options if o.default is None and o.choices != ("yes",) and not o.of_sled]
    assert not {o.words for o in seldom} & set(words)
    assert ("Show more questions" in words) == any(not o.needs for o in seldom)
    if "Show more questions" in words:
        app.screen.take(words.index("Show more questions"))
    words = [row.words for row in app.screen.rows()]
    assert words[0] == "Begin"
    for option in kind.options:
        assert (option.words in words) == (not option.needs), option.name
        assert not any(c == "_" for c in option.words)
    assert ("Passes in each set-up" in words) == kind.swept
    assert ("Lean test" in words) == (kind.swept and kind.sided)
    assert ("Tap test" in words) == kind.swept


@pytest.mark.ci
@pytest.mark.parametrize(
    "kinds",
    [["plate-wobble", "test-board"], pytest.param(sorted(checks()), marks=pytest.mark.slow)],
    ids=["two", "all"],
)
async def test_the_form_the_cautions_and_the_first_set_up(bench, kinds) -> None:
    _, folder = bench
    app = make_console(folder / "socket", theme="shop")
    async with app.run_test(size=(80, 24)) as pilot:
        for kind in kinds:
            await choose(app, pilot, kind)
            form(app)
            await pilot.press("1")
            await until(app, lambda: app.view.prompt is not None)
            await first_set_up(app, pilot, first=kind == kinds[0])
            await pilot.press("9")
            app.screen._since -= 1.0  # a second has gone by
            await pilot.press("enter")
            await until(app, lambda: app.view.prompt is None)


async def first_set_up(app, pilot, *, first: bool = True) -> None:
    """first: of the day; a later check asks for the cautions that are new."""
    ask = app.view.prompt
    assert not first or (ask.phase == "cautions" and ask.cautions), "no day without its cautions"
    pressed = 0
    while (ask := app.view.prompt).phase == "cautions":
        pressed += 1
        assert pressed < 8, "the cautions are by one key, and those that read on"
        read = scrolled(app)
        await pilot.press("enter")
        # a second press before the daemon has answered would say that the set-up stands
        await until(app, lambda ask=ask, read=read: app.view.prompt != ask or scrolled(app) != read)
    ask = app.view.prompt
    text = await until(app, lambda: "SET UP" in "\n".join(rows(app)))
    left = " ".join(" ".join(line[:43].split()) for line in text.splitlines())
    assert ask.words[:60] in left or ask.words[:60] in " ".join(text.split())
    drawn = [line[44:].strip() for line in text.splitlines()[9:20]]
    assert sum(bool(line) for line in drawn) >= 5, f"{ask.picture} is not drawn:\n{text}"


def scrolled(app) -> float:
    """Rows of the cautions above the edge."""
    return app.screen.query_one("#cautions").scroll_offset.y


def read_on(app) -> bool:
    """The cautions go on below the edge."""
    return any(act.action == "read_on" for act in app.screen.acts())


def shown(ask: Prompt, cables: Cables) -> None:
    """What the instruments read at what is asked: made up, so that each result is known beforehand."""
    place = ask.placement or ""
    if ask.gather == "width":
        cables.values["caliper"] = width(place, ask.at or 0.0)
    elif ask.phase == "mark":
        cables.values["indicator"] = swept(place, ask.at or 0.0)
    elif place.startswith("turn-"):
        cables.values["indicator"] = 2.5 + 0.03 * math.cos(math.radians(float(place[5:]) - 90.0))
    elif place in LEANS:
        cables.values["indicator"] = LEANS[place]
    elif place.startswith(("fence-", "blade-")):
        cables.values["indicator"] = 2.5 + 1e-3 * (ask.at or 0.0)
    else:
        cables.values["indicator"] = {"front": 2.50, "rear": 2.56}.get(place, 2.5)


def swept(place: str, s: float) -> float:
    if place in (
        "as-is",
        "pressed",
        "rolled-over",
    ):  # a crown of 0.08, and a straightedge that is 0.02 hollow
        x = (s - 105.0) / 105.0
        return 2.5 + 0.08 * (1 - x * x) + (-0.02 if place == "rolled-over" else 0.02) * (1 - x * x)
    if "-fence-corner-" in place:
        return 2.5 + 3e-4 * s * (1 if place.startswith("left") else -1)
    return 2.5 + (3e-4 if place in ("handle-left", "-") else -3e-4) * s


def width(place: str, at: float) -> float:
    if "spacing" in place:
        return 300.0
    if place.startswith("slot"):
        return 19.05
    if place.startswith("runner"):
        return 19.08 if 150 <= at <= 250 else 18.99
    return 25.00 if place == "near" else 25.64


def heard(app, cables: Cables) -> bool:
    """Whether the screen has what the instruments show; on a busy machine that comes late."""
    heard = app.view.instruments
    return all(heard[name].value == pytest.approx(cables.values[name], abs=1e-3) for name in cables.values)


def answerable(ask: Prompt | None) -> bool:
    return ask is not None and ask.enter and not ask.waiting


async def answered(app, pilot, cables: Cables) -> Finding:
    """To the result, by Enter alone."""
    end = time.monotonic() + 100.0
    while app.view.result is None:
        assert time.monotonic() < end, app.view.prompt
        await until(app, lambda: app.view.result is not None or answerable(app.view.prompt))
        if not answerable(ask := app.view.prompt):
            continue
        shown(ask, cables)
        if ask.phase in ("mark", "spot", "width"):
            await until(app, lambda: heard(app, cables))
            await asyncio.sleep(
                0.25
            )  # what lies shortly before the press counts too: the hand has stopped by then
        # it was taken by itself meanwhile: a press would answer what is asked next
        if app.view.prompt != ask:
            continue
        await pilot.press("enter")
        if ask.phase == "cautions":
            await pilot.pause()
            continue
        # a press shortly after a number was taken by itself means that number: press again
        again = time.monotonic() + HASTE_S
        await until(
            app,
            lambda ask=ask, again=again: (
                app.view.prompt != ask
                or app.view.result is not None
                or read_on(app)
                or (ask.by_itself and time.monotonic() > again)
            ),
        )
    return app.view.result


def value(finding: Finding, name: str) -> float:
    return next(q.value for q in finding.quantities if q.name == name)


EXPECTED: dict[str, Callable[[Finding], None]] = {}


def expects(kind: str) -> Callable[[Callable[[Finding], None]], Callable[[Finding], None]]:
    def keep(one: Callable[[Finding], None]) -> Callable[[Finding], None]:
        EXPECTED[kind] = one
        return one

    return keep


@expects("fence-square")
def _fence(finding: Finding) -> None:
    assert abs(value(finding, "fence")) == pytest.approx(3e-4, abs=2e-6)


@expects("slot-blade")
def _slot(finding: Finding) -> None:
    assert finding.verdict == "outside"


@expects("rip-fence")
def _rip(finding: Finding) -> None:
    assert abs(value(finding, "rip-fence")) == pytest.approx(3e-4, abs=2e-6)


@expects("plate-wobble")
def _plate(finding: Finding) -> None:
    assert value(finding, "total") == pytest.approx(0.06, abs=0.004)
    assert math.degrees(value(finding, "phase")) == pytest.approx(90.0, abs=3.0)


@expects("fence-straight")
def _straight(finding: Finding) -> None:
    assert abs(value(finding, "bow")) == pytest.approx(0.08, abs=0.004)
    assert finding.profile


@expects("runner-fit")
def _runner(finding: Finding) -> None:
    assert finding.positions and value(finding, "relief") > 0


@expects("side-play")
def _play(finding: Finding) -> None:
    assert value(finding, "side-play") == pytest.approx(0.10, abs=0.002)


@expects("test-board")
def _board(finding: Finding) -> None:
    assert finding.quantities[0].name == "board" and finding.verdict == "outside"


@expects("mitre-square")
def _mitre(finding: Finding) -> None:
    # every long edge is turned by -3e-4; the batten shows the right angle 3e-4 too wide, so that the sharp corners
    # are 3e-4 too tight together, half of it each
    assert value(finding, "between") == pytest.approx(-3e-4, abs=4e-6)
    assert value(finding, "left") == pytest.approx(-1.5e-4, abs=4e-6)
    assert value(finding, "right") == pytest.approx(-4.5e-4, abs=4e-6)
    assert finding.move is not None and finding.move.fence is not None


@expects("upright")
def _upright(finding: Finding) -> None:
    assert value(finding, "fence-lean") == pytest.approx(-1e-3, abs=5e-6)
    assert value(finding, "blade-lean") == pytest.approx(-1e-3, abs=5e-6)


@pytest.mark.slow  # each reading is held still for half a second, as by hand
@pytest.mark.parametrize("kind", sorted(checks()))
async def test_the_whole_check_by_keys_and_its_result(bench, kind, monkeypatch) -> None:
    monkeypatch.setattr(requests, "HELD_S", 0.0)  # a key that a test presses is not held down
    cables, folder = bench
    app = make_console(folder / "socket", theme="shop")
    async with app.run_test(size=(80, 24)) as pilot:
        await choose(app, pilot, kind)
        # what their rows turn; turned by keys elsewhere
        app.screen._pushes, app.screen._lean = 1, False
        await pilot.press("1")
        await until(app, lambda: app.view.prompt is not None)
        finding = await answered(app, pilot, cables)
        EXPECTED[kind](finding)
        await pilot.pause()
        text = "\n".join(rows(app))
        folder_to_look_at = os.environ.get("SWEEPGAUGE_PICTURES", "")
        if folder_to_look_at not in ("", "rebuild"):
            Path(folder_to_look_at).mkdir(parents=True, exist_ok=True)
            (Path(folder_to_look_at) / f"result-{kind}.svg").write_text(
                app.export_screenshot(title="sweepgauge")
            )
            (Path(folder_to_look_at) / f"result-{kind}.txt").write_text(text)
        assert "give or take" in text
        if finding.profile or finding.positions or kind == "plate-wobble":
            drawn = "\n".join(line[43:] for line in rows(app)[8:19])
            assert sum(c in "█" or "\u2800" < c < "\u2900" for c in drawn) > 12, drawn
